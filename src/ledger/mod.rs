//! The checked whole: every record read and cross-referenced, with all its faults.
