//! `bondline view`: the report's pages on loopback, drawn when they are asked for and drawn again when a file changes.
//!
//! Read only. It binds to 127.0.0.1 alone, answers GET and HEAD alone, and refuses any other name than its own in the
//! `Host` header, so that no foreign page can reach it under a name of its own.

use super::args::{ReportArgs, ViewArgs};
use super::context::{Context, Failure, Status, write_failure};
use super::report::{Past, State};
use super::terminal::Alive;
use super::view_watch::Watch;
use crate::source::Place;
use std::collections::BTreeMap;
use std::io::{self, IsTerminal, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, atomic::AtomicUsize, atomic::Ordering};
use std::time::{Duration, Instant};

/// Connections that are answered at once; further ones are closed.
const CONNECTIONS: usize = 32;
/// Longest head of a request, bytes.
const REQUEST: usize = 16 * 1024;
/// How long a request may take to arrive.
const PATIENCE: Duration = Duration::from_secs(5);
/// How often the files are looked at while pages are open.
const LOOK: Duration = Duration::from_millis(700);
/// The status of what is there and can't be shown.
const FAILED: &str = "500 Internal Server Error";

/// What asks for the state, on every page that is served.
const SCRIPT: &str = include_str!("../../templates/view.js");

/// One question of a connection: the path, and where its answer goes.
type Question = (String, SyncSender<Answer>);

/// What a path is answered with.
struct Answer {
    status: &'static str,
    kind: &'static str,
    body: String,
}

impl Answer {
    fn text(status: &'static str, body: impl Into<String>) -> Self {
        Self { status, kind: "text/plain; charset=utf-8", body: body.into() }
    }

    fn page(body: String) -> Self {
        Self { status: "200 OK", kind: "text/html; charset=utf-8", body }
    }

    /// A page in place of one that is not to be had. It asks for the state as any other, and so goes by itself when
    /// there is one again.
    fn instead(status: &'static str, state: &str, title: &str, words: &str) -> Self {
        let escaped = |text: &str| {
            text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
        };
        let body = format!(
            "<!doctype html>\n<html lang=\"en\" data-state=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'self'; \
             connect-src 'self'; base-uri 'none'; form-action 'none'\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n\
             <script src=\"/view.js\" defer></script>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n<pre>{}</pre>\n\
             <p><a href=\"/\">The programme today</a></p>\n</main>\n</body>\n</html>\n",
            escaped(state),
            escaped(words),
            title = escaped(title),
        );
        Self { status, ..Self::page(body) }
    }
}

pub(super) fn run(context: &mut Context, args: &ViewArgs) -> Result<Status, Failure> {
    let place = context.place()?;
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, args.port));
    let unbound = |error: &io::Error| {
        Failure::new(
            format!("port {} of 127.0.0.1 can't be had: {error}", args.port),
            "leave --port out: a free one is taken",
        )
    };
    let listener = TcpListener::bind(address).map_err(|error| unbound(&error))?;
    let own = listener.local_addr().map_err(|error| unbound(&error))?;
    let report = ReportArgs {
        source: args.source.clone(),
        with: args.with.clone(),
        out: std::path::PathBuf::new(),
        change: args.change.clone(),
        commits: args.commits,
    };
    let mut watch = Watch::of(&report);
    let seen = watch.state(&place, context.day());
    // A ledger that can't be read at all is said before anything is served.
    let reading = io::stderr().is_terminal().then(|| Alive::new("reading the ledger"));
    let first = State::read(&context.standing_in(&context.directory), &place, &report)?;
    drop(reading);
    let url = format!("http://{own}/");
    // Standard output is held back until a command ends, and this one ends with the program.
    let mut out = io::stdout();
    writeln!(out, "{url} shows the ledger as it stands; Ctrl-C ends it").and_then(|()| out.flush())?;
    if !args.no_browser && out.is_terminal() {
        open(&url);
    }
    let (ask, questions) = sync_channel::<Question>(CONNECTIONS);
    std::thread::Builder::new().spawn(move || listen(&listener, own, &ask)).map_err(|error| {
        Failure::new(
            format!("no thread can be had to answer a browser: {error}"),
            "end other programs, or write the pages to a folder with `bondline report`",
        )
    })?;
    serve(context, &place, &report, &questions, (watch, seen, first))
}

/// Draws what is asked for, until nobody can ask any more.
fn serve(
    context: &Context,
    place: &Place,
    args: &ReportArgs,
    questions: &Receiver<Question>,
    (mut watch, seen, first): (Watch, String, State),
) -> Result<Status, Failure> {
    let mut waiting: Option<Question> = None;
    let mut past = Past::default();
    let mut first = Some((seen, first));
    loop {
        // Each state is read with a memory of its own: what was there before is not kept for ever.
        let mut own = context.standing_in(&context.directory);
        own.today = context.day();
        let (seen, state) = match first.take() {
            Some((seen, state)) => (seen, Ok(state)),
            None => (watch.state(place, own.today), State::read(&own, place, args)),
        };
        let site = state.as_ref().map_err(words).and_then(|state| {
            let site = state.site(&own, place, args.commits, &mut past).map_err(|failure| words(&failure))?;
            Ok(site.served(&seen))
        });
        let mut drawn: BTreeMap<String, String> = BTreeMap::new();
        let mut looked = Instant::now();
        loop {
            let (path, back) = match waiting.take() {
                Some(question) => question,
                None => match questions.recv_timeout(Duration::from_secs(3600)) {
                    Ok(question) => question,
                    Err(RecvTimeoutError::Timeout) => continue,
                    Err(RecvTimeoutError::Disconnected) => return Ok(Status::Done),
                },
            };
            if looked.elapsed() >= LOOK {
                looked = Instant::now();
                if watch.state(place, context.day()) != seen {
                    // Whoever asked gets the state that is there now.
                    waiting = Some((path, back));
                    break;
                }
            }
            let answer = match (&site, path.as_str()) {
                (_, "state") => Answer::text("200 OK", &*seen),
                (Err(_), "view.js") => {
                    Answer { kind: "text/javascript; charset=utf-8", ..Answer::text("200 OK", SCRIPT) }
                }
                (Err(problem), _) => {
                    Answer::instead(FAILED, &seen, "The ledger can't be shown as it stands", problem)
                }
                (Ok(site), path) => {
                    let path = if path.is_empty() { "index.html" } else { path };
                    let asset = site.assets().into_iter().find(|(name, _)| *name == path);
                    match (asset, drawn.get(path), site.at(path)) {
                        (Some((name, text)), _, _) => Answer {
                            status: "200 OK",
                            kind: if name.ends_with(".css") {
                                "text/css; charset=utf-8"
                            } else {
                                "text/javascript; charset=utf-8"
                            },
                            body: text.to_string(),
                        },
                        (None, Some(page), _) => Answer::page(page.clone()),
                        (None, None, Some(sheet)) => match site.render(sheet) {
                            Ok(page) => {
                                drawn.insert(path.to_string(), page.clone());
                                Answer::page(page)
                            }
                            Err(problem) => {
                                let words = problem.to_string();
                                Answer::instead(FAILED, &seen, "This page can't be drawn", &words)
                            }
                        },
                        (None, None, None) => Answer::instead(
                            "404 Not Found",
                            &seen,
                            "There is no such page",
                            "The record may have been renamed or taken away.",
                        ),
                    }
                }
            };
            let _ = back.send(answer);
        }
    }
}

/// A failure as the terminal would show it.
fn words(failure: &Failure) -> String {
    let mut bytes = Vec::new();
    // Memory takes every byte.
    let _ = write_failure(&mut bytes, &failure.message, failure.help.as_deref(), &failure.faults);
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Takes connections for as long as the program runs.
fn listen(listener: &TcpListener, own: SocketAddr, ask: &SyncSender<Question>) {
    let open = Arc::new(AtomicUsize::new(0));
    for stream in listener.incoming() {
        let Ok(stream) = stream else { continue };
        if open.fetch_add(1, Ordering::SeqCst) >= CONNECTIONS {
            open.fetch_sub(1, Ordering::SeqCst);
            continue;
        }
        let (ask, counted) = (ask.clone(), Arc::clone(&open));
        let spawned = std::thread::Builder::new().spawn(move || {
            // A connection that breaks off has nobody to be told.
            let _ = answer(stream, own, &ask);
            counted.fetch_sub(1, Ordering::SeqCst);
        });
        // Where no thread can be had the connection is closed; the browser asks again.
        if spawned.is_err() {
            open.fetch_sub(1, Ordering::SeqCst);
        }
    }
}

/// Answers one connection, once.
fn answer(mut stream: TcpStream, own: SocketAddr, ask: &SyncSender<Question>) -> io::Result<()> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    let head = match request(&mut stream)? {
        Ok(head) => head,
        Err(refusal) => return reply(&mut stream, &refusal, true),
    };
    let (path, with_body) = match head.asks(own) {
        Ok(asked) => asked,
        Err(refusal) => return reply(&mut stream, &refusal, true),
    };
    let (back, answered) = sync_channel(1);
    let gone = || Answer::text("503 Service Unavailable", "the server is ending");
    let found = match ask.send((path, back)) {
        Ok(()) => answered.recv().unwrap_or_else(|_| gone()),
        Err(_) => gone(),
    };
    reply(&mut stream, &found, with_body)
}

/// The parts of a request that matter.
struct Head {
    method: String,
    target: String,
    hosts: Vec<String>,
}

impl Head {
    /// Returns the path that is asked for and whether its body is wanted.
    fn asks(&self, own: SocketAddr) -> Result<(String, bool), Answer> {
        let names = [format!("127.0.0.1:{}", own.port()), format!("localhost:{}", own.port())];
        match self.hosts.as_slice() {
            [host] if names.iter().any(|name| name.eq_ignore_ascii_case(host)) => {}
            _ => {
                return Err(Answer::text(
                    "403 Forbidden",
                    "this server answers to 127.0.0.1 and localhost alone",
                ));
            }
        }
        let with_body = match self.method.as_str() {
            "GET" => true,
            "HEAD" => false,
            _ => return Err(Answer::text("405 Method Not Allowed", "pages are only read")),
        };
        let path = self.target.split(['?', '#']).next().unwrap_or_default();
        match path.strip_prefix('/') {
            // Pages are looked up by name: no path leads to a file.
            Some(path) => Ok((path.to_string(), with_body)),
            None => Err(Answer::text("400 Bad Request", "a path begins with /")),
        }
    }
}

/// Reads the head of a request.
fn request(stream: &mut TcpStream) -> io::Result<Result<Head, Answer>> {
    let begun = Instant::now();
    let mut bytes = Vec::new();
    let mut some = [0; 2048];
    loop {
        let read = stream.read(&mut some)?;
        bytes.extend_from_slice(some.get(..read).unwrap_or_default());
        let mut fields = [httparse::EMPTY_HEADER; 64];
        let mut parsed = httparse::Request::new(&mut fields);
        match parsed.parse(&bytes) {
            Ok(httparse::Status::Complete(_)) => {
                let hosts = parsed.headers.iter().filter(|field| field.name.eq_ignore_ascii_case("host"));
                return Ok(Ok(Head {
                    method: parsed.method.unwrap_or_default().to_string(),
                    target: parsed.path.unwrap_or_default().to_string(),
                    hosts: hosts
                        .map(|field| String::from_utf8_lossy(field.value).trim().to_string())
                        .collect(),
                }));
            }
            Ok(httparse::Status::Partial)
                if read > 0 && bytes.len() < REQUEST && begun.elapsed() < PATIENCE => {}
            Ok(httparse::Status::Partial) | Err(_) => {
                return Ok(Err(Answer::text("400 Bad Request", "that is no request")));
            }
        }
    }
}

fn reply(stream: &mut TcpStream, answer: &Answer, with_body: bool) -> io::Result<()> {
    let head = format!(
        "HTTP/1.1 {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nCache-Control: no-store\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nCross-Origin-Resource-Policy: same-origin\r\n\
         X-Frame-Options: DENY\r\nConnection: close\r\n\r\n",
        answer.status,
        answer.kind,
        answer.body.len()
    );
    stream.write_all(head.as_bytes())?;
    if with_body {
        stream.write_all(answer.body.as_bytes())?;
    }
    stream.flush()
}

/// Opens the user's browser; where that fails the address was printed.
fn open(url: &str) {
    let program = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let quiet = std::process::Stdio::null;
    let _ =
        std::process::Command::new(program).arg(url).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn();
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asks(method: &str, target: &str, hosts: &[&str]) -> Result<(String, bool), &'static str> {
        let head = Head {
            method: method.to_string(),
            target: target.to_string(),
            hosts: hosts.iter().map(ToString::to_string).collect(),
        };
        head.asks(SocketAddr::from((Ipv4Addr::LOCALHOST, 8123))).map_err(|answer| answer.status)
    }

    #[test]
    fn only_its_own_name_is_answered() {
        assert_eq!(
            asks("GET", "/panel/x.html?a#b", &["127.0.0.1:8123"]),
            Ok(("panel/x.html".to_string(), true))
        );
        assert_eq!(asks("HEAD", "/", &["LOCALHOST:8123"]), Ok((String::new(), false)));
        for hosts in [
            &[][..],
            &["evil.example:8123"],
            &["127.0.0.1"],
            &["127.0.0.1:80"],
            &["127.0.0.1:8123", "evil.example"],
        ] {
            assert_eq!(asks("GET", "/", hosts), Err("403 Forbidden"), "{hosts:?}");
        }
        for method in ["POST", "PUT", "DELETE", "OPTIONS"] {
            assert_eq!(asks(method, "/", &["127.0.0.1:8123"]), Err("405 Method Not Allowed"));
        }
        assert_eq!(asks("GET", "http://other/", &["127.0.0.1:8123"]), Err("400 Bad Request"));
    }
}
