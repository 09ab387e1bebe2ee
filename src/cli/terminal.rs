//! What a terminal gets besides the answer: a pager where it is long, a sign of life where it takes long.

use std::io::{self, Write};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Sooner than this nothing is said of how long it takes.
const QUIET: Duration = Duration::from_millis(500);

/// Shows a text through the pager; `false` where there is none, or it can't be started.
///
/// `PAGER` is a command line as shells read it; empty or `cat` is none.
pub(super) fn paged(text: &[u8]) -> bool {
    let pager = std::env::var("PAGER").unwrap_or_else(|_| "less -FRX".to_string());
    let pager = pager.trim();
    if pager.is_empty() || pager == "cat" {
        return false;
    }
    let mut command = Command::new(if cfg!(windows) { "cmd" } else { "sh" });
    command.args([if cfg!(windows) { "/C" } else { "-c" }, pager]).stdin(Stdio::piped());
    // Ctrl-C is the pager's to hear while it is there.
    let _ = signal_hook::flag::register(signal_hook::consts::SIGINT, Arc::new(AtomicBool::new(false)));
    let Ok(mut child) = command.spawn() else { return false };
    // Who leaves the pager early has seen enough.
    let _ = child.stdin.take().map(|mut input| input.write_all(text));
    // A shell says so where it finds no such command (127) or one that it may not run (126).
    child.wait().is_ok_and(|status| !matches!(status.code(), Some(126 | 127)))
}

/// Says on standard error how long it takes, from half a second on, until it is dropped.
pub(super) struct Alive {
    end: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Alive {
    /// Begins to watch; `words` say what goes on.
    pub(super) fn new(words: &'static str) -> Self {
        let (end, ended) = channel();
        let begin = Instant::now();
        let thread = std::thread::spawn(move || {
            let mut wait = QUIET;
            let mut said = false;
            while ended.recv_timeout(wait) == Err(RecvTimeoutError::Timeout) {
                wait = Duration::from_millis(250);
                said = true;
                // Nobody is told where nobody can be.
                let _ =
                    write!(io::stderr(), "\r{words} ({:.0} s)\x1b[K", begin.elapsed().as_secs_f64().floor());
            }
            if said {
                let _ = write!(io::stderr(), "\r\x1b[K");
            }
        });
        Self { end: Some(end), thread: Some(thread) }
    }
}

impl Drop for Alive {
    fn drop(&mut self) {
        self.end.take();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
