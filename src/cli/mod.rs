//! One file per command: arguments in, exit status out.

mod answers;
mod args;
mod assumptions;
mod basis;
mod calc;
mod check;
mod compare;
mod complete;
mod conform;
mod context;
mod decide;
mod export;
mod files;
mod gaps;
mod history;
mod history_kept;
mod history_record;
mod history_turns;
mod hook;
mod hook_parts;
mod impact;
mod import;
mod laid;
mod laminate;
mod leeway;
mod man;
mod mass;
mod memory;
mod new;
mod panel;
mod parsed;
mod report;
mod report_folder;
mod store;
mod study;
mod terminal;
mod view;
mod view_watch;
mod why;
mod why_place;

pub use args::{Cli, Command};
pub use context::{Context, Failure, Status};

use answers::Question;
use clap::{CommandFactory, FromArgMatches};
use memory::Later;
use std::ffi::OsString;
use std::io::Write;

/// Runs the program on arguments, writes to `out` and `err`, and returns the exit status.
///
/// What it says is held back until the status is known: a reader that goes away may hide the answer but
/// never turn an objection into a success, and an answer that can't be written is no success either.
pub fn run(
    arguments: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
    terminal: Terminal,
) -> u8 {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    let may_page = may_page(&arguments);
    let (mut answer, mut notes) = (Vec::new(), Vec::new());
    let mut later = Later::default();
    let code = answered(arguments, (&mut answer, &mut notes), terminal, &mut later);
    let noted = delivered(err, &terminal::harmless(notes, terminal.colour_err));
    let is_long = |height: usize| answer.iter().filter(|byte| **byte == b'\n').count() >= height;
    if !(may_page && terminal.height.is_some_and(is_long) && terminal::paged(&answer))
        && let Err(error) = delivered(out, &answer)
    {
        // Nothing is left to say it on where this fails too; the status still says it.
        let _ = writeln!(err, "error: the result can't be written: {error}").and_then(|()| err.flush());
        return 2;
    }
    // Whoever asked has the answer; what comes now can't change it.
    later.carry_out();
    if noted.is_err() { 2 } else { code }
}

/// Whether an answer is text for people who did not ask to have it at once.
fn may_page(arguments: &[OsString]) -> bool {
    let no_pager = arguments.iter().take_while(|word| *word != "--").any(|word| word == "--no-pager");
    let script = arguments.iter().skip(1).any(|word| word == "completions" || word == "complete");
    !no_pager && !script && option(arguments, "--format").is_none_or(|format| format == "text")
}

/// Writes all at once; whoever closed the other end has seen enough, which is no failure.
fn delivered(to: &mut dyn Write, bytes: &[u8]) -> std::io::Result<()> {
    match to.write_all(bytes).and_then(|()| to.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        done => done,
    }
}

/// Does what the arguments say; the answer and the notes stay in memory.
fn answered(
    arguments: Vec<OsString>,
    (out, err): (&mut Vec<u8>, &mut Vec<u8>),
    terminal: Terminal,
    later: &mut Later,
) -> u8 {
    let parsed =
        Cli::command().try_get_matches_from(&arguments).and_then(|matches| Cli::from_arg_matches(&matches));
    let mut cli = match parsed {
        Ok(cli) => cli,
        Err(error) => return misread(&error, &arguments, out, err, terminal),
    };
    let json = cli.global.format == args::Format::Json;
    let is_for_people = cli.global.format == args::Format::Text
        && !matches!(
            cli.command,
            Command::Export(_) | Command::Man(_) | Command::Completions(_) | Command::Complete(_)
        );
    // A study says itself how far it is, and the view until it serves; the others wait for nothing but their reader.
    let is_quick = matches!(
        cli.command,
        Command::Study(_)
            | Command::View(_)
            | Command::Calc(_)
            | Command::Completions(_)
            | Command::Complete(_)
            | Command::Man(_)
    );
    let _alive = (terminal.progress && !is_quick).then(|| terminal::Alive::new("working"));
    let fits = has_format(&cli.command, cli.global.format);
    let result = fits.and_then(|()| Context::new(&cli.global, terminal)).and_then(|mut context| {
        let result = recalled(&mut context, &mut cli.command, &arguments, terminal, (out, err));
        context.note_unfinished(err);
        context.memory.note(err);
        *later = context.memory.later();
        result
    });
    if is_for_people {
        *out = terminal::harmless(std::mem::take(out), terminal.colour_out);
    }
    match result {
        Ok(Status::Done) => 0,
        Ok(Status::Objection) => 1,
        Err(Failure { message, help, faults }) => {
            // Memory takes every byte.
            let _ = if json {
                // One document, whatever was written before it failed.
                out.clear();
                writeln!(out, "{:#}", context::error_json(&message, help.as_deref(), &faults))
            } else {
                context::write_failure(err, &message, help.as_deref(), &faults)
            };
            2
        }
    }
}

/// Answers as before where the same was asked of the same states, and does the command otherwise.
fn recalled(
    context: &mut Context,
    command: &mut Command,
    arguments: &[OsString],
    terminal: Terminal,
    (out, err): (&mut Vec<u8>, &mut Vec<u8>),
) -> Result<Status, Failure> {
    went_back(context, command)?;
    let question = Question::of(context, command, arguments, terminal);
    if let Some(answer) = question.as_ref().and_then(|question| question.answer(context)) {
        return Ok(answer.say(out, err));
    }
    let done = carried_out(context, command, (out, err));
    if let (Some(question), Ok(status)) = (question, &done) {
        question.keep(context, out, err, *status);
    }
    done
}

/// Goes back to the day that is asked for, where one is.
fn went_back(context: &mut Context, command: &mut Command) -> Result<(), Failure> {
    if let Some((day, at)) = command.as_of() {
        *at = Some(context.back_to(day)?);
    }
    Ok(())
}

fn carried_out(
    context: &mut Context,
    command: &Command,
    (out, err): (&mut Vec<u8>, &mut Vec<u8>),
) -> Result<Status, Failure> {
    match command {
        Command::New(args) => new::run(context, args, out, err),
        Command::Check(args) => check::run(context, args, out),
        Command::Mass(args) => mass::run(context, args, out, err),
        Command::Laminate(args) => laminate::run(context, args, out, err),
        Command::Panel(args) => panel::run(context, args, out, err),
        Command::Basis(args) => basis::run(context, args, out, err),
        Command::Impact(args) => impact::run(context, args, out, err),
        Command::Decide(args) => decide::run(context, args, out, err),
        Command::Compare(args) => compare::run(context, args, out, err),
        Command::Leeway(args) => leeway::run(context, args, out, err),
        Command::Gaps(args) => gaps::run(context, args, out, err),
        Command::Why(args) => why::run(context, args, out, err),
        Command::History(args) => history::run(context, args, out, err),
        Command::Report(args) => report::run(context, args, out),
        Command::View(args) => view::run(context, args),
        Command::Study(args) => study::run(context, args, out, err),
        Command::Assumptions(args) => assumptions::run(context, args, out, err),
        Command::Conform(args) => conform::run(context, args, out, err),
        Command::Calc(args) => calc::run(context, args, out, err),
        Command::Hook(args) => hook::run(context, args, out),
        Command::Export(args) => export::run(context, args, out, err),
        Command::Import(args) => import::run(context, args, out, err),
        Command::Store(args) => store::run(context, args, out),
        Command::Completions(args) => complete::script(args, out),
        Command::Man(args) => man::run(context, args, out),
        Command::Complete(args) => complete::complete(context, args, out),
    }
}

/// Refuses a format that the command does not have, in words that name which do.
fn has_format(command: &Command, format: args::Format) -> Result<(), Failure> {
    let (only, name) = (format.only(), command.name());
    if only.is_empty() || only.contains(&name) {
        return Ok(());
    }
    let all: Vec<String> = only.iter().map(|one| format!("`bondline {one}`")).collect();
    let verb = if all.len() == 1 { "has" } else { "have" };
    let word = format.word();
    Err(Failure::new(
        format!("`bondline {name}` has no format `{word}`"),
        format!("{} {verb} it; here write `--format text` or `--format json`", all.join(", ")),
    ))
}

/// Answers arguments that can't be understood, or that ask for help.
fn misread(
    error: &clap::Error,
    arguments: &[OsString],
    out: &mut Vec<u8>,
    err: &mut Vec<u8>,
    terminal: Terminal,
) -> u8 {
    // Help and version are answers; anything else is a call that can't be understood.
    let failed = error.use_stderr();
    let plain = error.render().to_string();
    if failed && option(arguments, "--format").is_some_and(|value| value == "json") {
        let told = plain.trim().strip_prefix("error: ").unwrap_or_else(|| plain.trim());
        let (message, help) = told.split_once("\n\n").unwrap_or((told, ""));
        let help = Some(help.trim()).filter(|help| !help.is_empty());
        let _ = writeln!(out, "{:#}", context::error_json(message.trim(), help, &[]));
        return 2;
    }
    let auto = if failed { terminal.colour_err } else { terminal.colour_out };
    let coloured = match option(arguments, "--color") {
        Some("never") => false,
        Some("always") => true,
        _ => auto,
    };
    let text = if coloured { error.render().ansi().to_string() } else { plain };
    let _ = if failed { write!(err, "{text}") } else { write!(out, "{text}") };
    if failed { 2 } else { 0 }
}

/// The last value of an option, found without the parser that just refused the arguments.
fn option<'a>(arguments: &'a [OsString], name: &str) -> Option<&'a str> {
    let words: Vec<&str> = arguments.iter().map(|one| one.to_str().unwrap_or_default()).collect();
    let mut found = None;
    for (index, word) in words.iter().enumerate().take_while(|(_, word)| **word != "--") {
        if let Some(value) = word.strip_prefix(name).and_then(|rest| rest.strip_prefix('=')) {
            found = Some(value);
        } else if *word == name {
            found = words.get(index + 1).copied().or(found);
        }
    }
    found
}

/// What the streams are connected to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terminal {
    /// Columns of the output; 80 where there is no terminal.
    pub width: usize,
    /// Whether standard output may carry colour.
    pub colour_out: bool,
    /// Whether standard error may carry colour.
    pub colour_err: bool,
    /// Whether standard input is a terminal, where nothing is read unless it is asked for.
    pub input: bool,
    /// Lines of the terminal that takes the output, where longer text goes through a pager.
    pub height: Option<usize>,
    /// Whether standard error is a terminal, where a sign of life is shown.
    pub progress: bool,
}

impl Default for Terminal {
    fn default() -> Self {
        Self { width: 80, colour_out: false, colour_err: false, input: true, height: None, progress: false }
    }
}
