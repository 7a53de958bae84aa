"""Who may look and who may act: pairing, phones, people, sign-in, the gate before every request."""
