"""Records of a phone on the machine: its sensors, where up is, a bounce or a jump."""
