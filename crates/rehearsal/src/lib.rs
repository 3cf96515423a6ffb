//! The rehearsal of an install: every cut, every torn outcome, and what the unit does afterwards.
