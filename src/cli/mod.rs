//! One file per command: arguments in, exit status out.
