//! `bondline man`.

use super::args::{Cli, ManArgs};
use super::context::{Context, Failure, Status};
use super::files::lay;
use clap::{Command, CommandFactory};
use clap_mangen::Man;
use serde_json::json;
use std::io::Write;

/// Every page with its file's name: the program's, and one for each command that help shows.
fn pages() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let mut all = Vec::new();
    add(&whole, "bondline", &mut all)?;
    Ok(all)
}

fn add(command: &Command, name: &str, all: &mut Vec<(String, Vec<u8>)>) -> std::io::Result<()> {
    let mut page = Vec::new();
    Man::new(command.clone()).date("").manual("bondline").render(&mut page)?;
    all.push((format!("{name}.1"), page));
    for below in command.get_subcommands().filter(|own| !own.is_hide_set()) {
        add(below, &format!("{name}-{}", below.get_name()), all)?;
    }
    Ok(())
}

pub(super) fn run(context: &Context, args: &ManArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let pages = pages()?;
    let Some(folder) = &args.folder else {
        if let Some((_, page)) = pages.first() {
            out.write_all(page)?;
        }
        return Ok(Status::Done);
    };
    let folder = context.directory.join(folder);
    for (name, page) in &pages {
        lay(&folder, name, page).map_err(|error| error.failure("name another folder"))?;
    }
    if context.json() {
        let names: Vec<&String> = pages.iter().map(|(name, _)| name).collect();
        writeln!(
            out,
            "{:#}",
            json!({ "schema": "man/1", "folder": folder.display().to_string(), "pages": names })
        )?;
    } else {
        writeln!(out, "{}: {} pages; `man -l FILE` shows one", folder.display(), pages.len())?;
    }
    Ok(Status::Done)
}
