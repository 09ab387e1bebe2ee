//! `bondline calc`: the bench calculator; needs no ledger.

use super::args::CalcArgs;
use super::context::{Context, Failure, Status, nearest};
use crate::calc::{TOPICS, topic};
use crate::record::MAX_BYTES;
use crate::report::calc;
use crate::report::page::{Frame, Style, shown};
use std::fs::File;
use std::io::{self, Read, Write};

/// What the input is called in messages where it does not come from a file.
const INPUT: &str = "(standard input)";

pub(super) fn run(
    context: &mut Context,
    args: &CalcArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let frame = Frame { width: context.width, style: Style { colour: context.colour }, ..Frame::default() };
    let Some(name) = &args.topic else {
        if context.json() {
            writeln!(out, "{:#}", calc::list_json())?;
        } else {
            write!(out, "{}", calc::list_text(&frame))?;
        }
        return Ok(Status::Done);
    };
    let topic = topic(name).ok_or_else(|| unknown(name))?;
    if args.sample {
        write!(out, "{}", topic.sample)?;
        return Ok(Status::Done);
    }
    let Some((file, bytes)) = input(context, args)? else {
        if context.json() {
            writeln!(out, "{:#}", calc::help_json(topic))?;
        } else {
            write!(out, "{}", calc::help_text(topic, &frame))?;
        }
        return Ok(Status::Done);
    };
    match topic.answer(&file, &bytes) {
        Ok(answer) => {
            if context.json() {
                writeln!(out, "{:#}", calc::json(&answer))?;
            } else {
                write!(out, "{}", calc::text(&answer, &frame))?;
            }
            Ok(Status::Done)
        }
        Err(faults) => {
            let help = format!("`bondline calc {} --sample` prints an input that works", topic.name);
            Err(context.refused(&file, &bytes, faults, help, err)?)
        }
    }
}

fn unknown(name: &str) -> Failure {
    let names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
    // There are too many to name where none is near.
    let near = Some(nearest(name, &names)).filter(|near| near.starts_with("did you mean"));
    let help = near.map_or_else(String::new, |near| format!("{near} ")) + "`bondline calc` lists all";
    Failure::new(format!("`{}` is no topic of the calculator", shown(name)), help)
}

/// The name and the bytes of the input; `None` where nobody gave any.
fn input(context: &Context, args: &CalcArgs) -> Result<Option<(String, Vec<u8>)>, Failure> {
    // One byte more than is read shows that there are too many.
    let limit = MAX_BYTES as u64 + 1;
    let mut bytes = Vec::new();
    match &args.file {
        Some(path) if path.as_os_str() != "-" => {
            let name = shown(&path.display().to_string());
            let whole = context.directory.join(path);
            let mend = |error: io::Error| {
                let help = "name a YAML file, or `-` for standard input";
                Failure::new(format!("`{name}` can't be read: {error}"), help)
            };
            if whole.is_dir() {
                return Err(Failure::new(
                    format!("`{name}` is a folder"),
                    "name a YAML file, or `-` for standard input",
                ));
            }
            File::open(&whole).and_then(|file| file.take(limit).read_to_end(&mut bytes)).map_err(mend)?;
            Ok(Some((name, bytes)))
        }
        given => {
            if given.is_none() && context.input_terminal {
                return Ok(None);
            }
            io::stdin().lock().take(limit).read_to_end(&mut bytes).map_err(|error| {
                Failure::new(format!("standard input can't be read: {error}"), "name a YAML file")
            })?;
            Ok(Some((INPUT.to_string(), bytes)))
        }
    }
}
