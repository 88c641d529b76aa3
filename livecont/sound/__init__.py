"""Sound, computed: strings that are struck and plucked, temperaments, sound files."""
