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

/// Returns a text for people with control characters shown instead of obeyed, as records may have any: nothing in a
/// ledger that somebody sends moves the cursor, names the window or turns the direction of writing. Plain colours and
/// weights, which are all that is written here, pass where they are wanted.
pub(super) fn harmless(text: Vec<u8>, coloured: bool) -> Vec<u8> {
    let Ok(own) = std::str::from_utf8(&text) else {
        return harmless(String::from_utf8_lossy(&text).into_owned().into_bytes(), coloured);
    };
    if !own.contains(is_obeyed) {
        return text;
    }
    let mut shown = String::with_capacity(own.len());
    let mut rest = own;
    while let Some(at) = rest.find(is_obeyed) {
        let (before, after) = rest.split_at(at);
        shown.push_str(before);
        let colour = if coloured { colour_before(after) } else { 0 };
        let length = if colour > 0 { colour } else { after.chars().next().map_or(0, char::len_utf8) };
        let (one, further) = after.split_at(length);
        match colour {
            0 => shown.extend(one.chars().flat_map(char::escape_default)),
            _ => shown.push_str(one),
        }
        rest = further;
    }
    shown.push_str(rest);
    shown.into_bytes()
}

/// Whether a terminal does something else with a character than to show it.
fn is_obeyed(c: char) -> bool {
    let turns = matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    turns || c.is_control() && !matches!(c, '\n' | '\t')
}

/// The length of a plain colour or weight that a text begins with; 0 where it is none.
fn colour_before(text: &str) -> usize {
    let Some((codes, _)) = text.strip_prefix("\u{1b}[").and_then(|rest| rest.split_once('m')) else {
        return 0;
    };
    // Nothing that hides what is written: no concealing, and no ground of another colour.
    let is_plain = |code: &str| {
        let plain = |code| matches!(code, 0..=4 | 22..=24 | 30..=37 | 39 | 90..=97);
        code.is_empty() || code.bytes().all(|byte| byte.is_ascii_digit()) && code.parse().is_ok_and(plain)
    };
    if codes.split(';').all(is_plain) { codes.len() + 3 } else { 0 }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_a_record_says_is_obeyed() {
        let of =
            |text: &str, coloured| String::from_utf8(harmless(text.as_bytes().to_vec(), coloured)).unwrap();
        let plain = "● met\n\tfloat – shell\n";
        assert_eq!(of(plain, true), plain);
        let colour = "\u{1b}[1m\u{1b}[34mmet\u{1b}[0m\u{1b}[1;94m";
        assert_eq!(of(colour, true), colour);
        assert_eq!(of("\u{1b}[34mmet", false), "\\u{1b}[34mmet");
        for (text, shown) in [
            ("a\u{1b}]0;pwn\u{7}b", "a\\u{1b}]0;pwn\\u{7}b"),
            ("\u{1b}[8mhidden", "\\u{1b}[8mhidden"),
            ("\u{1b}[1;41m", "\\u{1b}[1;41m"),
            ("\u{1b}[2J\u{1b}[H", "\\u{1b}[2J\\u{1b}[H"),
            ("x\ry\u{8}\u{7f}\u{9b}31m", "x\\ry\\u{8}\\u{7f}\\u{9b}31m"),
            ("\u{202e}dessap", "\\u{202e}dessap"),
            ("\u{1b}", "\\u{1b}"),
            ("\u{1b}[999999999999m", "\\u{1b}[999999999999m"),
        ] {
            assert_eq!(of(text, true), shown);
        }
        assert_eq!(harmless(b"a\xff\x1bb".to_vec(), true), "a\u{fffd}\\u{1b}b".as_bytes());
    }
}
