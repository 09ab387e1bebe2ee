//! `bondline leeway`.

use super::args::LeewayArgs;
use super::context::{Context, Failure, Status, address, named, nearest, unreadable};
use crate::change::leeway::{Bench, Reach, in_use, leeway};
use crate::qualify::keep::{KeepError, keep};
use crate::record::{Address, RecordKind};
use crate::report::keep as keep_view;
use crate::report::leeway as view;
use crate::report::page::Frame;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Kinds of records that can be asked about by their bare id, in this order.
const KINDS: [RecordKind; 3] = [RecordKind::Recipe, RecordKind::Finish, RecordKind::Panel];
/// Before this nobody has begun to wait.
const PATIENCE: Duration = Duration::from_millis(500);

pub(super) fn run(
    context: &mut Context,
    args: &LeewayArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load(&place, &args.source)?;
    let ledger = &loaded.ledger;
    if let Some(text) = &args.keep {
        let evidence = named(text, RecordKind::Evidence, &ledger.evidence, ledger)?;
        let evaluation = context.evaluate(&loaded, err)?;
        let found = keep(ledger, &evaluation, evidence).map_err(|problem| {
            let help = match &problem {
                KeepError::NotConformed(id) => format!("run `bondline conform {id}` once it is made"),
                KeepError::NotCompared(_) => "name evidence of a test".to_string(),
            };
            Failure::new(problem.to_string(), help)
        })?;
        let text = |frame: &Frame| keep_view::text(&found, frame);
        context.answer(out, (&loaded, &evaluation), args.all, || keep_view::json(&found), text)?;
        return Ok(Status::Done);
    }
    let (name, route) = match args.of.as_deref().map(|text| text.split_once('#').unwrap_or((text, ""))) {
        Some((name, route)) => (Some(name), Some(route).filter(|route| !route.is_empty())),
        None => (None, None),
    };
    let of = name.map(|text| asked(text, ledger)).transpose()?;
    let evaluation = context.evaluate(&loaded, err)?;
    let bench = Bench::new(ledger, &loaded.snapshot, &evaluation, context.today)
        .map_err(|missing| context.missing(&loaded, &missing))?;
    let (what, reach) = match &of {
        Some(of) => (vec![of.clone()], Reach::All),
        None => (in_use(ledger), Reach::Figures),
    };
    let progress = Progress::new();
    let found = leeway(&bench, &what, route, reach, &|done, of| progress.say(done, of));
    progress.end();
    if let (Some(of), Some(route), true) = (&of, route, found.is_empty()) {
        let help = format!("`bondline leeway {of}` shows the places that can be moved");
        return Err(Failure::new(format!("nothing that can be moved stands at `{of}#{route}`"), help));
    }
    let document = || view::json(of.as_ref(), &found);
    let text = |frame: &Frame| view::text(of.as_ref(), &found, frame);
    context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
    Ok(Status::Done)
}

/// The record that an argument names.
fn asked(text: &str, ledger: &crate::ledger::Ledger) -> Result<Address, Failure> {
    let found = address(text, &KINDS, ledger);
    if let Some(failure) = found.as_ref().and_then(|found| unreadable(ledger, found)) {
        return Err(failure);
    }
    let movable = |found: &Address| {
        let kinds = [RecordKind::Material, RecordKind::Process, RecordKind::Tool];
        (KINDS.contains(&found.kind()) || kinds.contains(&found.kind())) && ledger.file_of(found).is_some()
    };
    found.filter(movable).ok_or_else(|| {
        let recipes = ledger.recipes.keys();
        let names: Vec<&str> =
            recipes.chain(ledger.finishes.keys()).chain(ledger.panels.keys()).map(String::as_str).collect();
        Failure::new(format!("no recipe, finish or panel is called `{text}`"), nearest(text, &names))
    })
}

/// How far a long search is, on a terminal's standard error.
struct Progress {
    since: Instant,
    shown: AtomicUsize,
    terminal: bool,
}

impl Progress {
    fn new() -> Self {
        Self { since: Instant::now(), shown: AtomicUsize::new(0), terminal: std::io::stderr().is_terminal() }
    }

    fn say(&self, done: usize, of: usize) {
        if self.terminal && self.since.elapsed() > PATIENCE {
            self.shown.store(1, Ordering::Relaxed);
            // A note that can't be shown is no failure of the search.
            let _ = write!(std::io::stderr(), "\rmoved {done} of {of} places ");
        }
    }

    fn end(&self) {
        if self.shown.load(Ordering::Relaxed) > 0 {
            let _ = write!(std::io::stderr(), "\r{:40}\r", "");
        }
    }
}
