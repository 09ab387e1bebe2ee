//! `bondline export`.

use super::args::{ExportArgs, ExportForm};
use super::context::{Context, Failure, Loaded, Status, to_the_end};
use super::files::{beside, replace};
use crate::export::{Contents, ExportError, Source, TABLES, contents, csv, json, postgres, sqlite, xlsx};
use crate::report::page::count;
use crate::source::Origin;
use serde_json::json;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// Enough of a file to know what it is.
const HEAD: u64 = 128;

pub(super) fn run(
    context: &mut Context,
    args: &ExportArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let schema = asked_schema(args)?;
    let place = context.place()?;
    let loaded = to_the_end(context.load_with(&place, &args.source, &args.with)?);
    let to = target(context, args)?;
    if let Some(to) = &to {
        let folder = beside(to);
        if !folder.is_dir() {
            return Err(Failure::new(
                format!("there is no folder `{}`", folder.display()),
                "make it first, or name another place behind --out",
            ));
        }
        if !args.force {
            may_overwrite(to, args.form)?;
        }
    }
    let evaluation = to_the_end(context.evaluate(&loaded, err)?);
    let source = Source {
        ledger: &loaded.ledger,
        evaluation: &evaluation,
        state: loaded.label(),
        commit: commit(&loaded),
        with: loaded.with.clone(),
        today: context.today,
    };
    let found = contents(&source).map_err(|missing| context.missing(&loaded, &missing))?;
    for lost in &found.lost {
        writeln!(err, "note: {lost} is not there; its cells are left empty")?;
    }
    if args.form == ExportForm::Sql {
        let schema = schema.unwrap_or_else(|| postgres::Schema::of_tables(&found));
        return script(context, args, to.as_deref(), &found, &schema, out, err);
    }
    let Some(to) = to else {
        let head = context.report_head(&loaded, &evaluation);
        writeln!(out, "{:#}", loaded.document(head.add_to(json::document(&found))))?;
        return Ok(Status::Done);
    };
    match args.form {
        ExportForm::Csv => write_folder(&to, &found)?,
        ExportForm::Xlsx => {
            let bytes = xlsx::workbook(&found, &to).map_err(refused)?;
            write_file(&to, |file| file.write_all(&bytes))?;
        }
        ExportForm::Json => {
            let head = context.report_head(&loaded, &evaluation);
            let document = loaded.document(head.add_to(json::document(&found)));
            write_file(&to, |file| writeln!(file, "{document:#}"))?;
        }
        ExportForm::Sqlite => write_database(&to, &found)?,
        ExportForm::Sql => {}
    }
    said(context, args, &to, &found, out)
}

/// The schema that was asked for, where it can be one and where a script is written at all.
fn asked_schema(args: &ExportArgs) -> Result<Option<postgres::Schema>, Failure> {
    let given = match (&args.schema, args.dialect) {
        (Some(_), _) => "--schema",
        (None, Some(_)) => "--dialect",
        (None, None) => return Ok(None),
    };
    if args.form != ExportForm::Sql {
        return Err(Failure::new(
            format!("`{given}` is for `export sql` alone"),
            "leave it out, or write `export sql --dialect postgres`",
        ));
    }
    let named = args.schema.as_deref().map(postgres::Schema::named).transpose();
    named.map_err(|error| {
        Failure::new(
            error.to_string(),
            "name another one behind --schema, such as the programme in small letters",
        )
    })
}

/// Writes the script to a file or to standard output.
fn script(
    context: &Context,
    args: &ExportArgs,
    to: Option<&Path>,
    found: &Contents,
    schema: &postgres::Schema,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let mut replaced = 0;
    match to {
        None => replaced = postgres::write(found, schema, out)?,
        Some(to) => write_file(to, |file| {
            let mut buffer = std::io::BufWriter::new(file);
            replaced = postgres::write(found, schema, &mut buffer)?;
            buffer.flush()
        })?,
    }
    if replaced > 0 {
        let all = count(replaced, "NUL character");
        writeln!(err, "note: PostgreSQL has no NUL in texts; {all} became U+FFFD")?;
    }
    match to {
        None => Ok(Status::Done),
        Some(to) => said(context, args, to, found, out),
    }
}

fn said(
    context: &Context,
    args: &ExportArgs,
    to: &Path,
    found: &Contents,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let rows: usize = found.rows.iter().map(Vec::len).sum();
    if context.json() {
        let tables: serde_json::Map<_, _> = TABLES
            .iter()
            .zip(&found.rows)
            .map(|(table, rows)| (table.name.to_string(), json!(rows.len())))
            .collect();
        let document =
            json!({ "schema": "export-written/1", "path": to.display().to_string(), "rows": tables });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    let form = match args.form {
        ExportForm::Csv => "a file each",
        ExportForm::Xlsx => "a sheet each",
        ExportForm::Json | ExportForm::Sqlite | ExportForm::Sql => "with keys",
    };
    writeln!(
        out,
        "{}: {} of {}, {form}; `schema/export.md` describes them",
        to.display(),
        count(TABLES.len(), "table"),
        count(rows, "row")
    )?;
    write!(out, "\n{}", crate::report::table::wrap(crate::report::head::CAUTION_LINE, context.width))?;
    Ok(Status::Done)
}

/// The commit that was read, where nothing was laid over it.
fn commit(loaded: &Loaded) -> Option<String> {
    match loaded.snapshot.origin() {
        Origin::Revision { commit, .. } if !loaded.is_laid => Some(commit.clone()),
        _ => None,
    }
}

/// Where it goes; `None` is standard output.
fn target(context: &Context, args: &ExportArgs) -> Result<Option<PathBuf>, Failure> {
    let is_out = |path: &Path| path.as_os_str() == "-";
    match (&args.out, args.form) {
        (None, ExportForm::Json | ExportForm::Sql) => Ok(None),
        (Some(path), ExportForm::Json | ExportForm::Sql) if is_out(path) => Ok(None),
        (Some(path), _) if is_out(path) => Err(Failure::new(
            "only `export json` and `export sql` can be written to standard output",
            "name a folder for CSV, or a file, behind --out",
        )),
        // From where the program was told to stand, as every other path.
        (Some(path), _) => Ok(Some(context.directory.join(path))),
        (None, ExportForm::Csv) => Ok(Some(context.directory.join("bondline-export"))),
        (None, ExportForm::Xlsx) => Ok(Some(context.directory.join("bondline-export.xlsx"))),
        (None, ExportForm::Sqlite) => Ok(Some(context.directory.join("bondline-export.sqlite"))),
    }
}

/// Refuses what stands there and was not written by an export.
fn may_overwrite(to: &Path, form: ExportForm) -> Result<(), Failure> {
    let Ok(about) = fs::symlink_metadata(to) else { return Ok(()) };
    let known = match form {
        ExportForm::Csv => {
            let empty = fs::read_dir(to).is_ok_and(|mut all| all.next().is_none());
            about.is_dir() && (empty || csv::is_export(&head(&to.join(csv::ABOUT))))
        }
        ExportForm::Xlsx => about.is_file() && File::open(to).is_ok_and(xlsx::is_export),
        ExportForm::Json => about.is_file() && json::is_export(&head(to)),
        ExportForm::Sqlite => about.is_file() && sqlite::is_export(&head(to)),
        ExportForm::Sql => about.is_file() && postgres::is_export(&head(to)),
    };
    if known {
        return Ok(());
    }
    Err(Failure::new(
        format!("`{}` is there and is no such export of this tool", to.display()),
        "name another place behind --out, or overwrite it with --force",
    ))
}

fn head(path: &Path) -> Vec<u8> {
    let mut bytes = Vec::new();
    if !fs::symlink_metadata(path).is_ok_and(|own| own.is_file()) {
        return bytes;
    }
    // What can't be read is no export.
    let _ = File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut bytes));
    bytes
}

fn refused(error: ExportError) -> Failure {
    Failure::new(error.to_string(), "name a place that can be written to behind --out")
}

fn unwritable(path: &Path, error: impl ToString) -> Failure {
    refused(ExportError::new(path, error))
}

/// Writes a file under another name, then puts it in its place.
fn write_file(to: &Path, write: impl FnOnce(&mut File) -> std::io::Result<()>) -> Result<(), Failure> {
    replace(to, write).map_err(|error| unwritable(to, error))
}

/// As [`write_file`], by the library that makes the file itself.
fn write_database(to: &Path, found: &Contents) -> Result<(), Failure> {
    let room = tempfile::Builder::new()
        .prefix(".bondline-")
        .tempdir_in(beside(to))
        .map_err(|error| unwritable(to, error))?;
    let made = room.path().join("export.sqlite");
    sqlite::write(found, &made).map_err(|error| refused(ExportError::new(to, error.why)))?;
    fs::rename(&made, to).map_err(|error| unwritable(to, error))
}

fn write_folder(to: &Path, found: &Contents) -> Result<(), Failure> {
    let files = csv::files(found).map_err(refused)?;
    if fs::symlink_metadata(to).is_ok_and(|own| !own.is_dir()) {
        return Err(Failure::new(
            format!("`{}` is a file; CSV is written into a folder", to.display()),
            "name a folder behind --out",
        ));
    }
    fs::create_dir_all(to).map_err(|error| unwritable(to, error))?;
    for (name, bytes) in files {
        write_file(&to.join(name), |file| file.write_all(&bytes))?;
    }
    Ok(())
}
