"""How far two surveys of one place lie apart: the shift, a tilt, another datum or another kind of height."""
