//! View models; terminal text and JSON.
