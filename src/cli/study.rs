//! `bondline study`.

use super::args::StudyArgs;
use super::context::{Context, Failure, Loaded, Status, named, to_the_end, unwritten};
use super::decide::{base_of, next_number};
use crate::change::study::{Ended, Found, Progress, Room, StudyError, StudyOptions, draft, run as search};
use crate::ledger::Entry;
use crate::qualify::verdict::Evaluation;
use crate::record::{RecordKind, Study};
use crate::report::page::Frame;
use crate::report::study as view;
use crate::source::write::FileEdit;
use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Sooner than this nothing is said of how far the search is.
const QUIET: Duration = Duration::from_millis(500);

pub(super) fn run(
    context: &mut Context,
    args: &StudyArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = match args.draft {
        Some(_) => context.writer(err)?.0,
        None => context.place()?,
    };
    let loaded = to_the_end(context.load(&place, &args.source)?);
    let study = named(&args.study, RecordKind::Study, &loaded.ledger.studies, &loaded.ledger)?;
    let evaluation = to_the_end(context.evaluate(&loaded, err)?);
    let found = searched(context, args, (&loaded, &evaluation), study)?;
    let written = match args.draft {
        Some(number) => Some(written(context, &found, number, err)?),
        None => None,
    };
    let document = || view::json(&found, written.as_deref());
    let text = |frame: &Frame| view::text(&found, written.as_deref(), frame);
    context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
    Ok(Status::Done)
}

fn searched(
    context: &Context,
    args: &StudyArgs,
    (loaded, evaluation): (&Loaded, &Evaluation),
    study: &Entry<Study>,
) -> Result<Found, Failure> {
    let begin = Instant::now();
    let limits = study.value.limits.as_ref();
    let seconds = args.seconds.or_else(|| limits.and_then(|own| own.seconds));
    let end = seconds.and_then(|seconds| Duration::try_from_secs_f64(seconds).ok());
    let interrupted = Arc::new(AtomicBool::new(false));
    listen(&interrupted);
    let stop = || match end {
        _ if interrupted.load(Ordering::Relaxed) => Some(Ended::Interrupted),
        Some(end) if begin.elapsed() >= end => Some(Ended::Seconds),
        _ => None,
    };
    let terminal = std::io::stderr().is_terminal();
    let said = AtomicBool::new(false);
    let progress = |own: &Progress| {
        if terminal && begin.elapsed() > QUIET {
            said.store(true, Ordering::Relaxed);
            // Nobody is told where nobody can be.
            let _ = write!(std::io::stderr(), "\r{}\x1b[K", view::progress(own));
        }
    };
    let room = Room {
        ledger: &loaded.ledger,
        snapshot: &loaded.snapshot,
        evaluation,
        today: context.today,
        recall: context.recall(),
    };
    let options = StudyOptions { seed: args.seed, stop: &stop, progress: &progress };
    let work = || search(&room, study, &options);
    let found = match args.jobs {
        Some(jobs) => {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(usize::from(jobs)).build();
            let pool = pool.map_err(|problem| {
                Failure::new(format!("{jobs} threads can't be had: {problem}"), "ask for fewer with --jobs")
            })?;
            pool.install(work)
        }
        None => work(),
    };
    if said.load(Ordering::Relaxed) {
        let _ = write!(std::io::stderr(), "\r\x1b[K");
    }
    found.map_err(|problem| failure(context, loaded, study, &problem))
}

/// Hears Ctrl-C: once the search ends, twice the program does.
fn listen(interrupted: &Arc<AtomicBool>) {
    let signal = signal_hook::consts::SIGINT;
    // The second: whoever registers first is asked first, while the first has not been noted yet. Where nothing
    // can be registered, Ctrl-C kills as ever.
    let _ = signal_hook::flag::register_conditional_shutdown(signal, 130, Arc::clone(interrupted));
    let _ = signal_hook::flag::register(signal, Arc::clone(interrupted));
}

fn failure(context: &Context, loaded: &Loaded, study: &Entry<Study>, problem: &StudyError) -> Failure {
    let message = format!("study/{}: {problem}", study.id);
    match problem {
        StudyError::Vary { at, help, .. } => {
            let route = format!("vary.{at}");
            let index = loaded.text(&study.file).map(|text| crate::record::places(&text));
            let line = index.and_then(|index| index.find(&route).map(|own| own.place(&study.file)));
            let line = line.and_then(|place| place.line).map_or(String::new(), |line| format!(":{line}"));
            Failure::new(format!("{}{line}: {problem}", study.file), help.clone())
        }
        StudyError::Interwoven { .. } => {
            Failure::new(message, "vary less in one recipe, or split the study into several")
        }
        StudyError::Currency { of_ledger, .. } => {
            Failure::new(message, format!("write the limit in {of_ledger}"))
        }
        StudyError::Article(missing) => context.missing(loaded, missing),
        _ => Failure::new(message, "`bondline check` shows what is wrong with the study's places"),
    }
}

/// Writes a row as a draft; returns its file.
fn written(context: &Context, found: &Found, number: usize, err: &mut dyn Write) -> Result<String, Failure> {
    let Some(row) = found.rows.iter().find(|row| row.number == number) else {
        let help = match found.rows.len() {
            0 => "the study found no row".to_string(),
            many => format!("there are the rows 1 to {many}"),
        };
        return Err(Failure::new(format!("the study found no row {number}"), help));
    };
    // The search took its time: numbers and records are looked at again while nobody else writes.
    let (place, writer, loaded) = context.opened(err)?;
    let mut draft = draft::draft(&found.study, found.title.as_deref(), row, context.today);
    draft.base = base_of(context, &place, &loaded, &draft.changes)?;
    let file = format!("decisions/{}.yaml", draft.id(next_number(context, &place, &loaded, err)?));
    let text = draft.text().ok_or_else(|| {
        Failure::new(
            format!("row {number} holds a value that can't be written on a line"),
            "draft it by hand",
        )
    })?;
    writer.write_all(&[FileEdit { file: file.clone(), was: None, shall: Some(text) }]).map_err(unwritten)?;
    Ok(file)
}
