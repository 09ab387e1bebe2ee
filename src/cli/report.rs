//! `bondline report`.

use super::args::ReportArgs;
use super::context::{Context, Failure, Loaded, Status, nearest, to_the_end};
use super::history::steps;
use super::laid::some_decisions;
use crate::article::ArticleError;
use crate::change::impact::{Impact, impact_of};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use crate::record::{Address, DecisionStatus, RecordKind};
use crate::report::history::Step;
use crate::report::page::count;
use crate::report::pages::{ChangeInput, Inputs, PageError, Since, Site};
use crate::source::{Commit, Place};
use rayon::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::Write;
use std::mem::ManuallyDrop;
use std::path::Path;

/// Decisions that get a sheet without being named; with more, none does.
const DECISIONS: usize = 8;
/// Beyond this many duties no decision gets a sheet without being named: each is a whole evaluation.
const DUTIES: usize = 3_000;
/// What says that a folder holds an earlier report, and which files are its.
const MARKER: &str = "bondline-report.json";

pub(super) fn run(
    context: &mut Context,
    args: &ReportArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let state = State::read(context, &place, args, err)?;
    let site = state.site(context, &place, args.commits, &mut Past::default())?;
    let folder = context.directory.join(&args.out);
    let files = write(&site, &folder)?;
    if context.json() {
        let document = json!({ "schema": "report/1", "out": folder.display().to_string(), "files": files });
        writeln!(out, "{document:#}")?;
    } else {
        let pages = files.iter().filter(|file| file.ends_with(".html")).count();
        writeln!(
            out,
            "{} in {}: open {}",
            count(pages, "page"),
            folder.display(),
            folder.join("index.html").display()
        )?;
    }
    Ok(Status::Done)
}

/// What the last commits did, kept for as long as they are the last: no edit of a file changes it.
#[derive(Default)]
pub(super) struct Past {
    head: Option<String>,
    steps: Vec<Step>,
}

impl Past {
    fn of(&mut self, shown: &[Commit], judge: impl FnOnce() -> Vec<Step>) -> Vec<Step> {
        let head = shown.first().map(|commit| commit.id.clone());
        if self.head.is_none() || self.head != head {
            self.steps = judge();
            self.head = head;
        }
        self.steps.clone()
    }
}

/// A change that was asked for, read and judged.
struct Drawn {
    stem: String,
    title: String,
    impact: Impact,
    /// `None` is the state that the report is about.
    base: Option<ManuallyDrop<Loaded>>,
    head: ManuallyDrop<Loaded>,
    decision: Option<String>,
}

/// Everything that pages are made from.
pub(super) struct State {
    loaded: ManuallyDrop<Loaded>,
    /// The ledger without what can't be judged, where that is less than all.
    some: Option<Ledger>,
    evaluation: ManuallyDrop<Evaluation>,
    left_out: Vec<String>,
    drawn: Vec<Drawn>,
    /// Open decisions without a sheet: id, title, why.
    unshown: Vec<(String, Option<String>, String)>,
}

impl State {
    /// Reads and judges what a report is about.
    ///
    /// # Errors
    /// [`Failure`] where a state or a decision that was named can't be had.
    pub fn read(
        context: &Context,
        place: &Place,
        args: &ReportArgs,
        err: &mut dyn Write,
    ) -> Result<Self, Failure> {
        let loaded = to_the_end(context.load_with(place, &args.source, &args.with)?);
        let (some, evaluation, left_out) = judged(context, &loaded)?;
        let mut own = Self {
            loaded,
            some,
            evaluation: to_the_end(evaluation),
            left_out,
            drawn: Vec::new(),
            unshown: Vec::new(),
        };
        own.draw(context, place, args, err)?;
        Ok(own)
    }

    fn title(&self, decision: &str) -> Option<String> {
        self.loaded.ledger.decisions.get(decision)?.value.title.clone()
    }

    fn ledger(&self) -> &Ledger {
        self.some.as_ref().unwrap_or(&self.loaded.ledger)
    }

    fn draw(
        &mut self,
        context: &Context,
        place: &Place,
        args: &ReportArgs,
        err: &mut dyn Write,
    ) -> Result<(), Failure> {
        let open: Vec<String> = self
            .loaded
            .ledger
            .decisions
            .iter()
            .filter(|(_, entry)| {
                let status = entry.value.status;
                matches!(status, DecisionStatus::Proposed | DecisionStatus::Approved)
                    && entry.value.found.is_none()
                    && !entry.value.changes.is_empty()
            })
            .map(|(id, _)| id.clone())
            .collect();
        let too_many = if open.len() > DECISIONS {
            Some(format!("more than {DECISIONS} are open, name it with --change"))
        } else if self.evaluation.duties.len() > DUTIES {
            Some(format!("the ledger has more than {DUTIES} duties, name it with --change"))
        } else {
            None
        };
        for one in &open {
            let drawn = match &too_many {
                Some(why) => Err(why.clone()),
                None => match self.decision(context, place, one, err) {
                    Ok(drawn) if drawn.impact.changes.is_empty() => {
                        Err("the records hold already what it changes".to_string())
                    }
                    Ok(drawn) => Ok(drawn),
                    Err(failure) => Err(failure.message),
                },
            };
            match drawn {
                Ok(drawn) => self.drawn.push(drawn),
                Err(why) => self.unshown.push((one.clone(), self.title(one), why)),
            }
        }
        for asked in &args.change {
            let drawn = match asked.split_once("..") {
                Some((base, head)) => revisions(context, place, base, head, err)?,
                None => self.decision(context, place, asked, err)?,
            };
            self.unshown.retain(|(id, _, _)| drawn.decision.as_ref() != Some(id));
            if self.drawn.iter().all(|known| known.stem != drawn.stem) {
                self.drawn.push(drawn);
            }
        }
        Ok(())
    }

    fn decision(
        &self,
        context: &Context,
        place: &Place,
        asked: &str,
        err: &mut dyn Write,
    ) -> Result<Drawn, Failure> {
        if self.loaded.ledger.decision(asked).is_none() && !asked.is_empty() {
            let names: Vec<&str> = self.loaded.ledger.decisions.keys().map(String::as_str).collect();
            return Err(Failure::new(
                format!("`{asked}` is neither BASE..HEAD nor a decision"),
                nearest(asked, &names),
            ));
        }
        let decisions = some_decisions(&self.loaded.ledger, &[asked.to_string()])?;
        let id = decisions.first().map(|(id, _)| id.clone()).unwrap_or_default();
        let head = to_the_end(context.laid_over(place, &self.loaded, &decisions)?);
        let after = context.evaluate_beside(&head, &self.evaluation, err)?;
        let label = format!("{} with {id}", self.loaded.label());
        let impact = impact_of(
            (&self.loaded.ledger, &self.loaded.label()),
            &self.evaluation,
            (&head.ledger, &label),
            &after,
        )
        .map_err(|missing| context.missing(&head, &missing))?;
        let title = self.loaded.ledger.decisions.get(&id).and_then(|entry| entry.value.title.clone());
        let title = title.map_or_else(|| id.clone(), |title| format!("{id}: {title}"));
        Ok(Drawn { stem: id.clone(), title, impact, base: None, head, decision: Some(id) })
    }

    /// Makes the pages ready.
    ///
    /// # Errors
    /// [`Failure`] where a template is at fault.
    pub fn site<'s>(
        &'s self,
        context: &Context,
        place: &Place,
        commits: usize,
        past: &mut Past,
    ) -> Result<Site<'s>, Failure> {
        let line =
            if place.repository().is_some() { place.line("HEAD").unwrap_or_default() } else { Vec::new() };
        let changes = self.drawn.iter().map(|own| ChangeInput {
            stem: own.stem.clone(),
            title: own.title.clone(),
            impact: own.impact.clone(),
            base: own.base.as_ref().map_or(&self.loaded.ledger, |base| &base.ledger),
            head: &own.head.ledger,
            decision: own.decision.as_ref().and_then(|id| self.loaded.ledger.decisions.get(id)),
        });
        let shown = line.get(..commits.min(line.len())).unwrap_or_default();
        let history = past.of(shown, || steps(context, place, shown, Some(&self.evaluation)));
        Site::new(Inputs {
            ledger: self.ledger(),
            evaluation: &self.evaluation,
            head: context.report_head(&self.loaded, &self.evaluation),
            label: self.loaded.label(),
            today: context.today,
            changes: changes.collect(),
            since: self.since(context, place, &line),
            history,
            faults: self.loaded.ledger.faults.clone(),
            left_out: self.left_out.clone(),
            unshown: self.unshown.clone(),
        })
        .map_err(failed)
    }

    /// What changed since the commit that says that the last milestone was reached.
    fn since(&self, context: &Context, place: &Place, line: &[Commit]) -> Option<Since> {
        let reached = |ledger: &Ledger| ledger.head.as_ref()?.reached.as_ref().map(ToString::to_string);
        let milestone = reached(&self.loaded.ledger)?;
        let blob = |commit: &Commit| place.revision(&commit.id).ok()?.blob_id("ledger.yaml");
        let mut at: Option<&Commit> = None;
        let mut known: Option<(Option<String>, bool)> = None;
        for commit in line {
            let own = blob(commit);
            let same = match &known {
                // What did not change says what it said.
                Some((before, same)) if *before == own => *same,
                _ => {
                    let loaded = context.read(place.revision(&commit.id).ok()?);
                    reached(&loaded.ledger).as_ref() == Some(&milestone)
                }
            };
            known = Some((own, same));
            if !same {
                break;
            }
            at = Some(commit);
        }
        let base = context.read(place.revision(&at?.id).ok()?);
        let before = evaluate_beside(&base.ledger, context.today, &self.evaluation).ok()?;
        let label = (base.label(), self.loaded.label());
        let impact =
            impact_of((&base.ledger, &label.0), &before, (self.ledger(), &label.1), &self.evaluation).ok()?;
        Some(Since { milestone, impact })
    }
}

fn revisions(
    context: &Context,
    place: &Place,
    base: &str,
    head: &str,
    err: &mut dyn Write,
) -> Result<Drawn, Failure> {
    let before = to_the_end(context.read(place.revision(base)?));
    let after = to_the_end(match head {
        "" => context.read(place.work_tree()?),
        head => context.read(place.revision(head)?),
    });
    let was = context.evaluate(&before, err)?;
    let is = context.evaluate_beside(&after, &was, err)?;
    let impact = impact_of((&before.ledger, &before.label()), &was, (&after.ledger, &after.label()), &is)
        .map_err(|missing| context.missing(&after, &missing))?;
    let head = if head.is_empty() { "work tree" } else { head };
    let plain = |text: &str| -> String {
        text.chars().map(|one| if one.is_ascii_alphanumeric() || one == '.' { one } else { '-' }).collect()
    };
    let stem = format!("{}-to-{}", plain(base).trim_matches('.'), plain(head).trim_matches('.'));
    Ok(Drawn {
        stem,
        title: format!("From {base} to {head}"),
        impact,
        base: Some(before),
        head: after,
        decision: None,
    })
}

/// Judges a ledger; where a record that something rests on can't be read, what rests on it is left out and named.
fn judged(context: &Context, loaded: &Loaded) -> Result<(Option<Ledger>, Evaluation, Vec<String>), Failure> {
    let mut left_out: Vec<String> =
        loaded.ledger.broken.iter().map(|address| format!("{address} can't be read")).collect();
    let mut ledger: Option<Ledger> = None;
    loop {
        let own = ledger.as_ref().unwrap_or(&loaded.ledger);
        let missing = match evaluate(own, context.today) {
            Ok(found) => return Ok((ledger, found, left_out)),
            Err(missing) => missing,
        };
        let culprit = match &missing {
            ArticleError::Missing { by, .. } => by,
            ArticleError::Unstated { address, .. } | ArticleError::Unfit { address, .. } => address,
        };
        let above = Uses::of(own).reached_from(culprit).into_iter().map(|one| one.address);
        let panels: BTreeSet<Address> = above
            .chain([culprit.clone()])
            .filter(|one| one.kind() == RecordKind::Panel && own.panels.contains_key(one.id()))
            .collect();
        let mut less = own.clone();
        if panels.is_empty() {
            // A panel or assembly that can't be read stands in the way of the whole: the rest is weighed without it.
            if less.broken.is_empty() {
                return Err(context.missing(loaded, &missing));
            }
            less.broken.clear();
            left_out.push("masses and verdicts are those of what can be read".to_string());
        }
        for panel in panels {
            less.panels.remove(panel.id());
            left_out.push(format!("{panel}: {missing}"));
        }
        ledger = Some(less);
    }
}

fn failed(error: PageError) -> Failure {
    Failure::new(
        error.to_string(),
        "this is a defect of bondline: please report it with the ledger if you may",
    )
}

/// Writes all pages, and takes away those of an earlier report that are none any more.
fn write(site: &Site<'_>, folder: &Path) -> Result<Vec<String>, Failure> {
    let old = earlier(folder)?;
    let unwritten = |path: &Path, error: &std::io::Error| {
        Failure::new(
            format!("{} can't be written: {error}", path.display()),
            "name a folder that can be written with --out",
        )
    };
    let files: Vec<String> = site.sheets().iter().map(|sheet| site.file(sheet)).collect();
    let folders = files.iter().filter_map(|file| file.rsplit_once('/')).map(|(folder, _)| folder);
    for own in folders.chain([""]).collect::<BTreeSet<&str>>() {
        let path = folder.join(own);
        if !own.is_empty() && path.symlink_metadata().is_ok_and(|found| found.is_symlink()) {
            return Err(Failure::new(
                format!("{} is a link: nothing is written through it", path.display()),
                "take the link away, or name another folder with --out",
            ));
        }
        std::fs::create_dir_all(&path).map_err(|error| unwritten(&path, &error))?;
    }
    let put = |file: &str, text: &str| -> Result<(), Failure> {
        let path = folder.join(file);
        laid(&path, text, folder).map_err(|error| unwritten(&path, &error))
    };
    let mut files = files;
    files.extend(site.assets().iter().map(|(file, _)| (*file).to_string()));
    files.sort();
    // First what will be here, so that a report that was cut short is known as one by the next.
    let marker = |files: &BTreeSet<&String>| {
        put(MARKER, &format!("{:#}\n", json!({ "schema": "report/1", "files": files })))
    };
    marker(&files.iter().chain(&old).collect())?;
    site.sheets()
        .par_iter()
        .try_for_each(|sheet| put(&site.file(sheet), &site.render(sheet).map_err(failed)?))?;
    for (file, text) in site.assets() {
        put(file, text)?;
    }
    // What an earlier report wrote and this one does not; nobody else's files.
    for gone in old.iter().filter(|file| files.binary_search(file).is_err()) {
        let _ = std::fs::remove_file(folder.join(gone));
    }
    marker(&files.iter().collect())?;
    Ok(files)
}

/// Lays a page: one that is there is left alone where it is the same, and else changes from one whole to another.
fn laid(path: &Path, text: &str, folder: &Path) -> std::io::Result<()> {
    match std::fs::OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(mut new) => return new.write_all(text.as_bytes()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
        Err(error) => return Err(error),
    }
    let is_file = path.symlink_metadata()?.is_file();
    if is_file && std::fs::read(path).is_ok_and(|old| old == text.as_bytes()) {
        return Ok(());
    }
    let mut beside = beside(path.parent().unwrap_or(folder))?;
    beside.write_all(text.as_bytes())?;
    beside.persist(path).map_err(|error| error.error)?;
    Ok(())
}

/// A new file beside the page to be, readable for everybody whom the user's mask lets.
fn beside(parent: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(parent)
}

/// The files of the report that a folder holds already.
fn earlier(folder: &Path) -> Result<Vec<String>, Failure> {
    let mut entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => {
            return Err(Failure::new(
                format!("{} can't be read: {error}", folder.display()),
                "name a folder with --out",
            ));
        }
    };
    let foreign = || {
        Failure::new(
            format!("{} holds other things than an earlier report", folder.display()),
            "name an empty or a new folder with --out",
        )
    };
    match std::fs::read_to_string(folder.join(MARKER)) {
        Ok(text) => {
            let document: Value = serde_json::from_str(&text).map_err(|_| foreign())?;
            let files = document.get("files").and_then(Value::as_array).ok_or_else(foreign)?;
            let inside = |file: &&str| {
                let own = Path::new(file);
                own.components().all(|part| matches!(part, std::path::Component::Normal(_)))
            };
            Ok(files.iter().filter_map(Value::as_str).filter(inside).map(str::to_string).collect())
        }
        Err(_) if entries.next().is_none() => Ok(Vec::new()),
        Err(_) => Err(foreign()),
    }
}
