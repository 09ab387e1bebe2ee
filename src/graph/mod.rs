//! Records and their uses as a graph: reach and paths.
