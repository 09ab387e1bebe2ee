//! Whole answers that are kept: the same question of the same states is answered without reading a record.
//!
//! For commands that only read, whatever they say follows from the arguments, the terminal, the day, this build, the
//! files of the states that they read, and where names lead in the repository. All of that is the key. Where an answer
//! followed from anything else (another ledger, a file that is listed nowhere, a revision that was not here, a file that
//! could not be read) it is not kept.

use super::args::{Command, Source};
use super::context::{Context, Status, to_the_end};
use super::memory::Asked;
use super::{Cli, Terminal};
use crate::source::{Place, Stamps};
use crate::store::Kept;
use clap::{CommandFactory, FromArgMatches};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::ffi::OsString;
use std::mem::ManuallyDrop;
use std::path::PathBuf;

/// What the store calls them.
pub(super) const KEPT: &str = "answer";

/// Longer ones are not kept: they would drive too much else out.
const LONGEST: usize = 1024 * 1024;

/// The states without a name that a command reads; those with one are known by where names lead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reads {
    WorkTree,
    Index,
    /// Revisions alone.
    Named,
}

/// A question whose answer may be kept.
pub(super) struct Question {
    asked: Asked,
    place: Place,
    reads: Reads,
    stands: Stands,
    /// Commits that the arguments name by their ids.
    ids: Vec<String>,
}

/// Where names lead, and what a state without a name is.
struct Stands {
    names: String,
    state: String,
    /// None where the state was known by a glance.
    stamps: Option<ManuallyDrop<Stamps>>,
}

impl Stands {
    /// As [`Stands::of`], without a look at the files of a work tree that looks as it did before.
    fn found(context: &Context, place: &Place, reads: Reads) -> Option<Self> {
        if reads != Reads::WorkTree {
            return Self::of(place, reads, Stamps::default());
        }
        let mut glanced = context.memory.glanced(place);
        if let Some(state) = glanced.identity.take() {
            return Some(Self { names: place.names()?, state, stamps: None });
        }
        let stands = Self::of(place, reads, context.memory.stamps(place))?;
        if let Some(stamps) = &stands.stamps {
            context.memory.keep_stamps(place, stamps);
        }
        context.memory.keep_glance(place, glanced, &stands.state);
        Some(stands)
    }

    fn of(place: &Place, reads: Reads, stamps: Stamps) -> Option<Self> {
        let mut stamps = to_the_end(stamps);
        let names = place.names()?;
        let state = match reads {
            Reads::Named => String::new(),
            Reads::Index => place.index().ok()?.identity(&mut stamps)?,
            Reads::WorkTree => place.work_tree().ok()?.identity(&mut stamps)?,
        };
        Some(Self { names, state, stamps: Some(stamps) })
    }
}

/// What is asked beside the states.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Parts {
    arguments: Vec<String>,
    directory: PathBuf,
    width: usize,
    colour: bool,
    colour_err: bool,
}

impl Parts {
    fn ids(&self) -> Vec<String> {
        let words = self.arguments.iter().flat_map(|word| word.split(|one: char| !one.is_ascii_hexdigit()));
        words.filter(|word| word.len() == 40).map(str::to_lowercase).collect()
    }
}

/// An answer as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Answer {
    out: String,
    err: String,
    objects: bool,
    /// Commits that were asked for by their ids and were here: no name need lead to them, so they may be gone.
    commits: Vec<String>,
}

impl Answer {
    fn of(question: &Question, out: &[u8], err: &[u8], status: Status) -> Option<Self> {
        let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).ok();
        let objects = status == Status::Objection;
        let mut commits = question.place.asked_by_id();
        commits.extend(question.ids.iter().filter(|id| question.place.has_commit(id)).cloned());
        Some(Self { out: text(out)?, err: text(err)?, objects, commits })
    }

    /// Says it again.
    pub fn say(self, out: &mut Vec<u8>, err: &mut Vec<u8>) -> Status {
        out.extend(self.out.into_bytes());
        err.extend(self.err.into_bytes());
        if self.objects { Status::Objection } else { Status::Done }
    }
}

/// What a command reads; `None` for those that write, that run by the clock, or that read more than states.
fn reads(command: &Command) -> Option<Reads> {
    let of = |source: &Source| match (&source.at, source.staged) {
        (Some(_), _) => Reads::Named,
        (None, true) => Reads::Index,
        (None, false) => Reads::WorkTree,
    };
    Some(match command {
        Command::Mass(args) => of(&args.source),
        Command::Laminate(args) => of(&args.source),
        Command::Panel(args) => of(&args.source),
        Command::Impact(args) if args.staged => Reads::Index,
        Command::Gaps(args) => of(&args.source),
        Command::Assumptions(args) => of(&args.source),
        Command::Why(args) => of(&args.source),
        Command::Leeway(args) => of(&args.source),
        Command::History(_) => Reads::Named,
        // Whether a name is a decision's is looked up in the work tree.
        Command::Impact(_) | Command::Compare(_) => Reads::WorkTree,
        _ => return None,
    })
}

impl Question {
    /// Returns the question that arguments put, where its answer may be kept.
    pub fn of(
        context: &Context,
        command: &Command,
        arguments: &[OsString],
        terminal: Terminal,
    ) -> Option<Self> {
        let reads = reads(command).filter(|_| context.memory.is_allowed())?;
        let arguments = arguments.iter().skip(1).map(|word| word.to_str().map(str::to_string));
        let parts = Parts {
            arguments: arguments.collect::<Option<_>>()?,
            directory: context.directory.clone(),
            width: terminal.width,
            colour: context.colour,
            colour_err: context.colour_err,
        };
        Self::asked(context, &context.place().ok()?, reads, &parts)
    }

    fn asked(context: &Context, place: &Place, reads: Reads, parts: &Parts) -> Option<Self> {
        let told = serde_json::to_string(parts).ok()?;
        let stands = Stands::found(context, place, reads)?;
        let of = [
            ("folder", place.prefix()),
            ("names", &stands.names),
            ("parts", &told),
            ("state", &stands.state),
        ];
        let asked = context.asked(KEPT, &of);
        Some(Self { asked, place: place.clone(), reads, stands, ids: parts.ids() })
    }

    /// Finds the answer that was given before.
    pub fn answer(&self, context: &Context) -> Option<Answer> {
        let bytes = context.memory.find(&self.place, &self.asked.key)?;
        let answer: Answer = serde_json::from_slice(&bytes).ok()?;
        if !answer.commits.iter().all(|id| self.place.has_commit(id)) {
            return None;
        }
        context.memory.work("answered as before".to_string());
        Some(answer)
    }

    /// Keeps an answer where it followed from nothing but the question, and the states are still the same when it is out.
    pub fn keep(self, context: &Context, out: &[u8], err: &[u8], status: Status) {
        let why = if out.len() + err.len() > LONGEST {
            Some("it is too long")
        } else if context.read_more_than_states() {
            Some("it followed from more than the states")
        } else {
            None
        };
        if let Some(why) = why {
            return context.memory.work(format!("the answer is not kept: {why}"));
        }
        let value = Answer::of(&self, out, err, status).and_then(|answer| serde_json::to_vec(&answer).ok());
        let Some(value) = value else { return };
        let Self { asked, place, reads, stands, ids: _ } = self;
        let kept = Kept { key: asked.key, what: KEPT.to_string(), about: asked.about, value };
        let (at, read) = (place.clone(), context.states_read());
        let mut stamps =
            stands.stamps.map(ManuallyDrop::into_inner).unwrap_or_else(|| context.memory.stamps(&at));
        let (names, state) = (stands.names, stands.state);
        let still = move || {
            // A tree that was another while it was read, and is as before again, gave another answer. What is read is held
            // to its listing, and so is this; and whoever reads a state that `reads` does not say has none of its text.
            if read.iter().any(|own| own.identity(&mut stamps).as_deref() != Some(&state)) {
                return false;
            }
            let now = Stands::of(&at, reads, stamps);
            now.is_some_and(|now| (now.names, now.state) == (names, state))
        };
        context.memory.keep(&place, kept, Box::new(still));
    }
}

/// Works out anew what was answered, where the question would still be the same: whether the same comes of it. `None`
/// where the states are gone.
pub(super) fn verified(context: &Context, about: &str, kept: &[u8]) -> Option<bool> {
    let told: Value = serde_json::from_str(about).ok()?;
    let parts: Parts = serde_json::from_str(told.get("parts")?.as_str()?).ok()?;
    let words = ["bondline"].into_iter().chain(parts.arguments.iter().map(String::as_str));
    let matches = Cli::command().try_get_matches_from(words).ok()?;
    let mut cli = Cli::from_arg_matches(&matches).ok()?;
    cli.global.no_store = true;
    cli.global.directory = Some(parts.directory.clone());
    let terminal = Terminal {
        width: parts.width,
        colour_out: parts.colour,
        colour_err: parts.colour_err,
        ..Terminal::default()
    };
    let mut own = Context::new(&cli.global, terminal).ok()?;
    own.today = context.today;
    super::went_back(&mut own, &mut cli.command).ok()?;
    let place = own.place().ok()?;
    let question = Question::asked(&own, &place, reads(&cli.command)?, &parts)?;
    if question.asked.about != about {
        return None;
    }
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let answer = super::carried_out(&mut own, &cli.command, (&mut out, &mut err));
    let now = answer.ok().and_then(|status| Answer::of(&question, &out, &err, status));
    // What was found of earlier runs asked for no commit then.
    let told = |answer: Answer| Answer { commits: Vec::new(), ..answer };
    Some(now.map(told) == serde_json::from_slice(kept).ok().map(told))
}
