//! Paths inside a ledger: relative to its root, `/`-separated, without `.` and `..`.

use super::{KIND_FOLDERS, LEDGER_FILE, ReadFault};
use crate::record::{import_of, named, without_import};

/// Joins a path that stands in a record to the folder of that record.
///
/// `record` is the record's own path in the ledger, `relative` what it says. The answer is relative
/// to the ledger's root and free of `.` and `..`.
///
/// # Errors
///
/// [`ReadFault::Outside`] if the path is absolute, climbs out of the ledger, or goes into git's own
/// folder; [`ReadFault::Missing`] if it names nothing.
pub fn resolve(record: &str, relative: &str) -> Result<String, ReadFault> {
    if relative.starts_with('/') {
        return Err(ReadFault::Outside);
    }
    // A record of an import names files of its own ledger.
    let (import, record) = (import_of(record), without_import(record));
    let path = match record.rsplit_once('/') {
        Some((folder, _)) => clean(&format!("{folder}/{relative}")),
        None => clean(relative),
    };
    Ok(named(import, &path?))
}

/// Takes `.`, `..` and doubled slashes out of a path, or refuses it. The dots are resolved in the
/// text: since no link is ever followed, the file they lead to is the same.
pub(super) fn clean(path: &str) -> Result<String, ReadFault> {
    if path.starts_with('/') {
        return Err(ReadFault::Outside);
    }
    let mut parts: Vec<&str> = Vec::new();
    for part in path.split('/') {
        match part {
            "" | "." => {}
            ".." => {
                if parts.pop().is_none() {
                    return Err(ReadFault::Outside);
                }
            }
            part if part.eq_ignore_ascii_case(".git") => return Err(ReadFault::Outside),
            part => parts.push(part),
        }
    }
    if parts.is_empty() || path.contains('\0') {
        return Err(ReadFault::Missing);
    }
    Ok(parts.join("/"))
}

/// Whether a snapshot lists this path: `ledger.yaml`, a kind folder's files, and whatever stands
/// where a kind folder should.
pub(super) fn is_listed(path: &str) -> bool {
    let top = path.split_once('/').map_or(path, |(top, _)| top);
    path == LEDGER_FILE || KIND_FOLDERS.contains(&top)
}

/// Joins a folder and a name; the empty folder is the root.
pub(super) fn join(folder: &str, name: &str) -> String {
    if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") }
}

/// A path's folders from the top, each as a path, without the path itself.
pub(super) fn folders(path: &str) -> impl Iterator<Item = &str> {
    path.match_indices('/').filter_map(move |(at, _)| path.get(..at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_in_a_record_starts_from_its_folder() {
        assert_eq!(resolve("evidence/e-001.yaml", "data/tr.csv").unwrap(), "evidence/data/tr.csv");
        assert_eq!(resolve("evidence/a/e.yaml", "../../data/x.csv").unwrap(), "data/x.csv");
        assert_eq!(resolve("ledger.yaml", "./notes//x.md").unwrap(), "notes/x.md");
        assert_eq!(resolve("lib:evidence/e.yaml", "../data/x.csv").unwrap(), "lib:data/x.csv");
        assert_eq!(resolve("lib:evidence/e.yaml", "../../x.csv"), Err(ReadFault::Outside));
    }

    #[test]
    fn a_path_may_not_leave_the_ledger() {
        for (record, path) in [
            ("evidence/e.yaml", "../../x"),
            ("evidence/e.yaml", "/etc/passwd"),
            ("e.yaml", ".."),
            ("evidence/e.yaml", "../.git/config"),
            ("evidence/e.yaml", "../.GIT/config"),
            ("evidence/e.yaml", "a/../../../evidence/x"),
        ] {
            assert_eq!(resolve(record, path), Err(ReadFault::Outside), "{path}");
        }
        assert_eq!(resolve("evidence/e.yaml", ".."), Err(ReadFault::Missing));
        assert_eq!(resolve("evidence/e.yaml", "a\0b"), Err(ReadFault::Missing));
    }

    #[test]
    fn folders_go_from_the_top() {
        assert_eq!(folders("a/b/c").collect::<Vec<_>>(), ["a", "a/b"]);
        assert_eq!(folders("a").count(), 0);
    }
}
