//! One file per command: arguments in, exit status out.

mod args;
mod assumptions;
mod check;
mod conform;
mod context;
mod gaps;
mod hook;
mod impact;
mod mass;
mod new;
mod why;

pub use args::{Cli, Command};
pub use context::{Context, Failure, Status};

use clap::{CommandFactory, FromArgMatches};
use std::ffi::OsString;
use std::io::Write;

/// Runs the program on arguments, writes to `out` and `err`, and returns the exit status.
pub fn run(
    arguments: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
    terminal: Terminal,
) -> u8 {
    let matches = match Cli::command().try_get_matches_from(arguments) {
        Ok(matches) => matches,
        Err(error) => {
            let text = if terminal.colour_err {
                error.render().ansi().to_string()
            } else {
                error.render().to_string()
            };
            // Help and version are answers; anything else is a call that can't be understood.
            let code = if error.use_stderr() { 2 } else { 0 };
            let wrote = if error.use_stderr() { write!(err, "{text}") } else { write!(out, "{text}") };
            return if wrote.is_err() { 0 } else { code };
        }
    };
    let cli = match Cli::from_arg_matches(&matches) {
        Ok(cli) => cli,
        Err(error) => {
            let _ = write!(err, "{}", error.render());
            return 2;
        }
    };
    let json = cli.global.format == args::Format::Json;
    let result = Context::new(&cli.global, terminal).and_then(|mut context| {
        let status = match &cli.command {
            Command::New(args) => new::run(&mut context, args, out, err),
            Command::Check(args) => check::run(&mut context, args, out),
            Command::Mass(args) => mass::run(&mut context, args, out, err),
            Command::Impact(args) => impact::run(&mut context, args, out, err),
            Command::Gaps(args) => gaps::run(&mut context, args, out, err),
            Command::Why(args) => why::run(&mut context, args, out, err),
            Command::Assumptions(args) => assumptions::run(&mut context, args, out, err),
            Command::Conform(args) => conform::run(&mut context, args, out, err),
            Command::Hook(args) => hook::run(&mut context, args, out),
        };
        status.and_then(|status| out.flush().map_err(Failure::from).map(|()| status))
    });
    match result {
        Ok(Status::Done) => 0,
        Ok(Status::Objection) => 1,
        // Whoever reads the other end has seen enough.
        Err(Failure::ClosedPipe) => 0,
        Err(Failure::Stopped { message, help, faults }) => {
            let wrote = if json {
                writeln!(out, "{:#}", context::error_json(&message, help.as_deref(), &faults))
            } else {
                context::write_failure(err, &message, help.as_deref(), &faults)
            };
            if wrote.is_err() { 0 } else { 2 }
        }
    }
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
}

impl Default for Terminal {
    fn default() -> Self {
        Self { width: 80, colour_out: false, colour_err: false }
    }
}
