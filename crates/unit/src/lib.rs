//! What a unit is made of: parts, flash geometry, timing, and the simulated world that outlives a power cut.
