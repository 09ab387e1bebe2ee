//! Records turned into stacks, coats and zones; subjects; configurations.
