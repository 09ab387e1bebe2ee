//! The folder that a report lies in: what is written there, and what of an earlier report is taken away.

use super::context::Failure;
use super::files::{Unlaid, alone, is_left, lay, take_away, unlinked};
use super::report::failed;
use crate::record::RecordKind;
use crate::report::pages::{PAGED, Site};
use rayon::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// What says that a folder holds an earlier report, and which files are its.
const MARKER: &str = "bondline-report.json";
/// The marker's form: it is no document that a command prints.
const FORM: &str = "report-folder/1";
/// Folders of pages that are of no kind of record.
const FURTHER: [&str; 2] = ["change", "matrix"];
/// The most that a marker holds, in bytes: the names of a million pages.
const MARKER_LIMIT: u64 = 64 * 1024 * 1024;
/// The way on from a folder that can't be had.
const WAY: &str = "name another folder with --out";

/// Writes all pages, and takes away those of an earlier report that are none any more. `root` is where the program
/// stands: from there on no link is followed, since whoever shares a ledger can have laid one.
pub(super) fn write(site: &Site<'_>, folder: &Path, root: &Path) -> Result<Vec<String>, Failure> {
    let unlaid = |error: Unlaid| error.failure(WAY);
    // Without `/` or `/.` at the end, by which a link would be followed to what it leads to.
    let folder: PathBuf = folder.components().collect();
    let folder = folder.as_path();
    let above = folder.ancestors().take_while(|own| folder.starts_with(root) && *own != root);
    for own in above.chain([folder]) {
        if own.is_symlink() {
            return Err(unlaid(Unlaid::Link(own.to_path_buf())));
        }
    }
    let made = || {
        std::fs::create_dir_all(folder).map_err(|error| unlaid(Unlaid::Refused(folder.to_path_buf(), error)))
    };
    earlier(folder)?;
    made()?;
    let kinds = PAGED.iter().map(|kind| kind.word().to_string()).chain(FURTHER.map(str::to_string)).collect();
    let _alone = alone(folder, &kinds)?;
    // Once more, now that nobody else writes in it.
    let old = earlier(folder)?;
    let mut files: Vec<String> = site.sheets().iter().map(|sheet| site.file(sheet)).collect();
    files.extend(site.assets().iter().map(|(file, _)| (*file).to_string()));
    files.sort();
    // Before anything is written: a refusal leaves an earlier report as it was.
    for file in &files {
        unlinked(folder, file).map_err(unlaid)?;
    }
    let put = |file: &str, text: &str| lay(folder, file, text.as_bytes()).map_err(unlaid);
    // First what will be here, so that a report that was cut short is known as one by the next.
    let marker = |files: &BTreeSet<&String>| {
        put(MARKER, &format!("{:#}\n", json!({ "schema": FORM, "files": files })))
    };
    marker(&files.iter().chain(&old).collect())?;
    site.sheets()
        .par_iter()
        .try_for_each(|sheet| put(&site.file(sheet), &site.render(sheet).map_err(failed)?))?;
    for (file, text) in site.assets() {
        put(file, text)?;
    }
    // What an earlier report wrote and this one does not; nobody else's files.
    for gone in old.iter().filter(|file| files.binary_search(file).is_err()) {
        take_away(folder, gone);
    }
    marker(&files.iter().collect())?;
    Ok(files)
}

/// The files of the report that a folder holds already.
fn earlier(folder: &Path) -> Result<Vec<String>, Failure> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => {
            return Err(Failure::new(format!("{} can't be read: {error}", folder.display()), WAY));
        }
    };
    let foreign = || {
        Failure::new(
            format!("{} holds other things than an earlier report", folder.display()),
            "name an empty or a new folder with --out",
        )
    };
    if entries.flatten().all(|entry| is_left(&entry)) {
        return Ok(Vec::new());
    }
    let marker = folder.join(MARKER);
    if !marker.symlink_metadata().is_ok_and(|found| found.is_file() && found.len() <= MARKER_LIMIT) {
        return Err(foreign());
    }
    let text = std::fs::read_to_string(marker).map_err(|_| foreign())?;
    let document: Value = serde_json::from_str(&text).map_err(|_| foreign())?;
    let files = document.get("files").and_then(Value::as_array).ok_or_else(foreign)?;
    // Anybody can have written the marker: it names files to be taken away, and so only what a report has.
    Ok(files.iter().filter_map(Value::as_str).filter(|file| is_page(file)).map(str::to_string).collect())
}

/// Whether a report has such files: pages of a kind below its folder, pages over the whole, and what they need.
fn is_page(file: &str) -> bool {
    if matches!(file, "sheet.css" | "sheet.js") {
        return true;
    }
    let Some(stem) = file.strip_suffix(".html").filter(|stem| !stem.contains(['\\', '\0'])) else {
        return false;
    };
    match stem.split_once('/') {
        Some((folder, name)) => {
            let is_kind = PAGED.iter().any(|kind| kind.word() == folder);
            let is_name = !name.is_empty() && !name.starts_with('.') && !name.contains('/');
            is_name && (is_kind || FURTHER.contains(&folder))
        }
        None => {
            let whole = match stem.rsplit_once('-') {
                Some((first, page)) if page.bytes().all(|one| one.is_ascii_digit()) => first,
                _ => stem,
            };
            matches!(whole, "index" | "mass" | "graph" | "clauses" | "calendar" | "assumptions")
                || PAGED.iter().copied().map(RecordKind::folder).any(|folder| folder == whole)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::is_page;

    #[test]
    fn only_what_a_report_has_is_its_own() {
        for own in [
            "index.html",
            "panels-2.html",
            "panel/bow-hatch.html",
            "change/HEAD-to-work-tree.html",
            "sheet.css",
        ] {
            assert!(is_page(own), "{own}");
        }
        for other in [
            "x/a.yaml",
            "panel/a.yaml",
            "panel/../a.html",
            "../panel/a.html",
            "/panel/a.html",
            "panel/a/b.html",
            "panel/.html",
            "thesis.html",
            "x/a.html",
            "",
            "bondline-report.json",
        ] {
            assert!(!is_page(other), "{other}");
        }
    }
}
