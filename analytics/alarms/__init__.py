"""Alarms after IEC 62682 / ISA-18.2: which findings ask for a response, and what becomes of them."""
