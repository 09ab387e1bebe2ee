//! The program: connects the streams and leaves the rest to the library.

use bondline::cli::{self, Terminal};
use std::io::{self, BufWriter, IsTerminal};
use std::process::ExitCode;

/// A run makes many short texts on several threads, and frees few of them before it ends.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty() && value != "0");
    let auto = |terminal: bool| {
        if set("NO_COLOR") {
            return false;
        }
        set("CLICOLOR_FORCE") || terminal && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
    };
    let size = terminal_size::terminal_size();
    let width = size.map_or(80, |(width, _)| usize::from(width.0)).clamp(40, 160);
    // A terminal that can't move its cursor can neither page nor take a line back.
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    let pages = io::stdout().is_terminal() && io::stdin().is_terminal() && !dumb && !set("NO_PAGER");
    let terminal = Terminal {
        width,
        colour_out: auto(io::stdout().is_terminal()),
        colour_err: auto(io::stderr().is_terminal()),
        input: io::stdin().is_terminal(),
        height: size.map(|(_, height)| usize::from(height.0)).filter(|height| pages && *height > 0),
        progress: io::stderr().is_terminal() && !dumb,
    };
    // Whole writes reach it already; the buffer keeps the standard one from cutting them at line ends.
    let mut out = BufWriter::new(io::stdout().lock());
    let mut err = io::stderr();
    let code = cli::run(std::env::args_os(), &mut out, &mut err, terminal);
    ExitCode::from(code)
}
