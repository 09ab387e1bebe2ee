//! Moisture uptake and the time it takes.
