"""Telling the owner: messages due, brought to wherever they are wanted, apart from ingestion."""
