//! The installer as a pure step machine: reads the stick, decides, installs, recovers, starts the image.
