"""From readings to what happened: runs, looks into them, rests, beats, silences, days. No judgement here."""
