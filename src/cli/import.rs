//! `bondline import`.

use super::args::{ImportArgs, ImportCsvArgs, ImportForm, Source};
use super::context::{Context, Failure, Status, may_be_written, unwritten};
use crate::change::import::{Made, Mapping, Sheet, guessed, made, sheet};
use crate::report::page::{Frame, Page, count, shown};
use crate::report::table::{Align, Table, wrap};
use crate::source::write::FileEdit;
use serde_json::json;
use std::fs;
use std::io::Write;

/// More rows of what a file comes to are counted, not shown.
const SHOWN: usize = 20;
/// A file above this is no spreadsheet that people typed.
const LARGEST: u64 = 16 << 20;

pub(super) fn run(
    context: &mut Context,
    args: &ImportArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let ImportForm::Csv(args) = &args.form;
    // Nobody else writes between the reading of the records and the writing of new ones.
    let (place, writer) = match args.write {
        true => context.writer(err).map(|(place, writer)| (place, Some(writer)))?,
        false => (context.place()?, None),
    };
    let loaded = context.load(&place, &Source::default())?;
    if writer.is_some() {
        may_be_written(&loaded.ledger)?;
    }
    let path = context.directory.join(&args.file);
    let name = args.file.display().to_string();
    let cannot =
        |why: &str| Failure::new(format!("`{}` can't be read: {why}", shown(&name)), "name a CSV file");
    if fs::metadata(&path).is_ok_and(|own| own.len() > LARGEST) {
        return Err(cannot("it is larger than 16 MB"));
    }
    let bytes = fs::read(&path).map_err(|error| cannot(&error.to_string()))?;
    let sheet = sheet(&bytes).map_err(|fault| {
        let line = fault.line.map_or_else(String::new, |line| format!(":{line}"));
        Failure::new(format!("{}{line}: {}", shown(&name), fault.message), fault.help)
    })?;
    let mapping = mapping(context, args, &sheet)?;
    let made = made(&sheet, &mapping, &loaded.ledger, &loaded.snapshot);
    if let Some(file) = &args.save_map {
        let to = context.directory.join(file);
        let refused = |error: std::io::Error| {
            Failure::new(format!("`{}` can't be written: {error}", to.display()), "name a new file")
        };
        fs::File::create_new(&to)
            .and_then(|mut own| own.write_all(mapping.text().as_bytes()))
            .map_err(refused)?;
    }
    let edits: Vec<FileEdit> = made
        .files
        .iter()
        .map(|(file, text)| FileEdit { file: file.clone(), was: None, shall: Some(text.clone()) })
        .collect();
    if let Some(writer) = writer.filter(|_| !edits.is_empty()) {
        writer.write_all(&edits).map_err(unwritten)?;
    }
    if context.json() {
        writeln!(out, "{:#}", document(&mapping, &made, args.write))?;
    } else {
        said(context, args, (&sheet, &mapping, &made), &name, out)?;
    }
    Ok(if made.refused.is_empty() { Status::Done } else { Status::Objection })
}

/// The mapping that was given, or the guess; with what the command line sets.
fn mapping(context: &Context, args: &ImportCsvArgs, sheet: &Sheet) -> Result<Mapping, Failure> {
    let kind = args.kind.into();
    let mut own = match &args.map {
        None => guessed(kind, sheet),
        Some(file) => {
            let cannot = |why: String| {
                let help = "write one with --save-map and edit that";
                Failure::new(format!("`{}` is no mapping: {why}", file.display()), help)
            };
            let text = fs::read_to_string(context.directory.join(file))
                .map_err(|error| cannot(error.to_string()))?;
            let own = Mapping::read(&text).map_err(cannot)?;
            if own.kind != kind {
                return Err(cannot(format!("it is for {}, not for {}", own.kind.word(), args.kind.word())));
            }
            if let Some(lost) = own.columns.keys().find(|name| !sheet.columns.contains(name)) {
                return Err(cannot(format!("the file has no column `{lost}`")));
            }
            own
        }
    };
    for set in &args.set {
        let cannot = || {
            Failure::new(format!("`{set}` sets nothing"), "write KEY=VALUE, for example `--set kind=prepreg`")
        };
        let (key, value) =
            set.split_once('=').filter(|(key, _)| !key.trim().is_empty()).ok_or_else(cannot)?;
        let value = serde_yaml::from_str(value).map_err(|_| cannot())?;
        own.set.insert(key.trim().to_string(), value);
    }
    Ok(own)
}

fn document(mapping: &Mapping, made: &Made, write: bool) -> serde_json::Value {
    json!({
        "schema": "import/1",
        "mapping": mapping,
        "written": write && !made.files.is_empty(),
        "files": made.files.keys().collect::<Vec<_>>(),
        "kept": made.kept,
        "refused": made.refused.iter().map(|one| json!({
            "line": one.line, "column": one.column, "message": one.message, "help": one.help,
        })).collect::<Vec<_>>(),
    })
}

fn said(
    context: &Context,
    args: &ImportCsvArgs,
    (sheet, mapping, made): (&Sheet, &Mapping, &Made),
    name: &str,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let width = context.width;
    let mut table = Table::new([
        ("column", Align::Left),
        ("becomes", Align::Left),
        ("unit", Align::Left),
        ("first", Align::Left),
    ]);
    for (at, column) in sheet.columns.iter().enumerate() {
        let target = mapping.columns.get(column).filter(|own| !own.to.is_empty());
        let first = sheet.lines.iter().filter_map(|line| line.cells.get(at)).find(|cell| !cell.is_empty());
        let (to, unit) = target.map_or(("(left out)", ""), |own| (own.to.as_str(), own.unit.as_str()));
        table.row([shown(column), shown(to), shown(unit), first.map_or_else(String::new, |own| shown(own))]);
    }
    for (key, value) in &mapping.set {
        let text = crate::record::edit::one_line(value).unwrap_or_default();
        table.row(["(set)".to_string(), shown(key), String::new(), shown(&text)]);
    }
    writeln!(out, "{}", table.render(width))?;
    let frame = Frame { width, ..Frame::default() };
    let mut page = Page::new(&frame);
    for one in made.refused.iter().take(SHOWN) {
        let column =
            one.column.as_ref().map_or_else(String::new, |column| format!(", column `{}`", shown(column)));
        let head = format!("{}:{}{column}: {}", shown(name), one.line, shown(&one.message));
        page.hang("", "  ", &head);
        if !one.help.is_empty() {
            page.hang("  help: ", "        ", &shown(&one.help));
        }
    }
    write!(out, "{}", page.finish())?;
    if made.refused.len() > SHOWN {
        writeln!(out, "… and {} more; `--format json` has them all", made.refused.len() - SHOWN)?;
    }
    let done = if args.write { "written" } else { "would be written" };
    for file in made.files.keys().take(SHOWN) {
        writeln!(out, "{file}: {done}")?;
    }
    if made.files.len() > SHOWN {
        writeln!(out, "… and {} more", made.files.len() - SHOWN)?;
    }
    for kept in made.kept.iter().take(SHOWN) {
        writeln!(out, "{kept}: there already, left as it is")?;
    }
    let sum = format!(
        "{}: {} {done}, {} there already, {} refused.{}",
        count(sheet.lines.len(), "row"),
        count(made.files.len(), "file"),
        made.kept.len(),
        made.refused.len(),
        if args.write || made.files.is_empty() {
            ""
        } else {
            " Nothing was written; --write writes, --save-map FILE keeps the mapping to edit and give back with --map."
        }
    );
    write!(out, "{}", wrap(&sum, width))?;
    Ok(())
}
