//! Snapshots (path, blob id, bytes) of the work tree, the index, a revision, and overlays on them; installing the hook.
