"""Holdwater's front door, its ears and its memory: command, settings, MQTT, history, daemon."""
