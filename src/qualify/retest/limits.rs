//! How far a colour or a film may go before what it made lapse stays lapsed: searched by trials.
//!
//! A trial lays another figure into the finish and judges the duties again, so that every rule has its say:
//! all zones of a panel, tolerances, windows, criteria. The search takes it that a paler colour and a thinner
//! film never lose what a darker and a thicker one keep.

use crate::article::{ArticleError, Key, Subject, film_build};
use crate::ledger::{Entry, Ledger};
use crate::qualify::alone::{Alone, Trials, Used};
use crate::qualify::delta::number;
use crate::qualify::rests::{RESTS_ON, rested_on};
use crate::qualify::search::last_holding;
use crate::qualify::verdict::{DutyKey, Evaluation, Judged, Verdict};
use crate::quantity::{Fraction, Length, Quantity};
use crate::record::{Colour, Finish};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Steps of a trial in one unit of absorptance.
const HUNDREDTHS: f64 = 100.0;

/// The largest value of an attribute of a finish that restores every duty that it alone made lapse.
#[derive(Debug, Clone, PartialEq)]
pub struct AttributeLimit {
    /// The finish.
    pub finish: String,
    /// `colour.absorptance`, a share, or `film-build.max`, in um.
    pub attribute: &'static str,
    /// Its value now, nominal.
    pub now: f64,
    /// The largest that restores, in steps of 0.01 and of 1 um.
    pub largest: f64,
    /// The duties that it restores.
    pub restores: Vec<DutyKey>,
    /// Duties that hang on it too and stay unmet, since they need more than this.
    pub leaves: usize,
}

/// Panels by duty, gathered under their showing.
type Hung = BTreeMap<String, Vec<Used>>;

/// What else a duty needs before it is met.
#[derive(Default)]
struct Tied {
    /// All panels that it is not met for.
    panels: BTreeSet<String>,
    /// Duties that it rests on and that are not met, as reasons name them.
    rests: BTreeSet<String>,
}

/// Searches the limits for the duties named by `keys`.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn limits(
    ledger: &Ledger,
    evaluation: &Evaluation,
    keys: &[DutyKey],
) -> Result<Vec<AttributeLimit>, ArticleError> {
    let mut hot: BTreeMap<String, Hung> = BTreeMap::new();
    let mut film: BTreeMap<String, (f64, Hung)> = BTreeMap::new();
    let mut tied: BTreeMap<DutyKey, Tied> = BTreeMap::new();
    let wanted: BTreeSet<&DutyKey> = keys.iter().collect();
    for (key, duty) in wanted.iter().filter_map(|key| Some((*key, evaluation.duties.get(*key)?))) {
        let (showing, subject) = key;
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| !judged.verdict.is_closed()) {
            let own = tied.entry(key.clone()).or_default();
            own.panels.insert(panel.clone());
            let rests = judged.because.iter().filter(|reason| reason.rule == RESTS_ON);
            own.rests.extend(rests.map(|reason| reason.attribute.to_string()));
            let structural = judged.because.iter().any(|reason| reason.attribute == "skin.structural");
            let over =
                ledger.showings.get(showing).is_some_and(|one| one.value.accept.above_skin_by.is_some());
            let ramp = over && judged.verdict == Verdict::Failed;
            if let Some(used) = evaluation.grounds.demands.of(subject, panel).filter(|_| structural || ramp) {
                let skin = if structural { &used.demand.structural } else { &used.demand.ramp };
                let finish = skin.as_ref().and_then(|(_, surface)| surface.strip_prefix("finish/"));
                if let Some(finish) = finish {
                    let own = hot.entry(finish.to_string()).or_default();
                    own.entry(showing.clone()).or_default().push((subject.clone(), panel.clone()));
                }
            }
            for (finish, was) in thinner_once(ledger, subject, judged) {
                let (least, own) = film.entry(finish).or_insert((was, Hung::new()));
                *least = least.min(was);
                let own = own.entry(showing.clone()).or_default();
                if !own.iter().any(|(one, at)| one == subject && at == panel) {
                    own.push((subject.clone(), panel.clone()));
                }
            }
        }
    }
    if hot.is_empty() && film.is_empty() {
        return Ok(Vec::new());
    }
    let alone = Alone::new(ledger, &evaluation.uses);
    let mut knobs: Vec<Knob<'_>> = Vec::new();
    for (id, hung) in &hot {
        let Some(finish) = ledger.finishes.get(id) else { continue };
        let written = finish.value.colour.as_ref().and_then(|colour| colour.solar_absorptance.as_ref());
        let now = written.map_or(1.0, |own| own.si());
        let (attribute, per_unit) = ("colour.absorptance", HUNDREDTHS);
        knobs.push(Knob { finish, attribute, per_unit, turned: paler, now, least: 0.0, hung });
    }
    for (id, (least, hung)) in &film {
        let Some(finish) = ledger.finishes.get(id) else { continue };
        let Ok(now) = film_build(&finish.value).1.to_string().parse::<f64>() else { continue };
        let (attribute, least) = ("film-build.max", *least);
        knobs.push(Knob { finish, attribute, per_unit: 1.0, turned: thinner, now, least, hung });
    }
    // No trial knows of another, so that each finish may be tried beside the next.
    let search = || Search { trials: alone.trials(), trial: ledger.clone(), tied: &tied };
    let tried: Vec<Result<Option<AttributeLimit>, ArticleError>> =
        knobs.par_iter().map_init(search, |search, knob| search.run(knob)).collect();
    tried.into_iter().filter_map(Result::transpose).collect()
}

/// Finishes whose film is thicker than it was conformed, with the film in um that it was.
fn thinner_once(ledger: &Ledger, subject: &Subject, judged: &Judged) -> Vec<(String, f64)> {
    let mut all = Vec::new();
    for reason in judged.because.iter().filter(|reason| reason.attribute.starts_with("film-build")) {
        let was = number(&reason.was).and_then(|(was, _)| was.to_string().parse::<f64>().ok());
        let finish = match subject {
            Subject::Painted(_, finish) => finish.clone(),
            // The zones of a panel are numbered in the order that they are written in.
            Subject::Panel(id) => Key::parse(&reason.attribute).scope.strip_prefix('z').and_then(|place| {
                let place = place.parse::<usize>().ok()?.checked_sub(1)?;
                let zone = ledger.panels.get(id)?.value.zones.get(place)?;
                Some(zone.finish.as_ref()?.id().to_string())
            }),
            _ => None,
        };
        if let (Some(finish), Some(was), Verdict::Lapsed) = (finish, was, judged.verdict) {
            all.push((finish, was));
        }
    }
    all
}

/// The attribute of a finish that is turned.
struct Knob<'a> {
    finish: &'a Entry<Finish>,
    attribute: &'static str,
    /// Steps in one unit.
    per_unit: f64,
    /// The finish with another value.
    turned: fn(&Finish, f64) -> Option<Finish>,
    /// Its value now.
    now: f64,
    /// A value that surely restores what can be restored.
    least: f64,
    /// Duties that hang on it.
    hung: &'a Hung,
}

struct Search<'a> {
    trials: Trials<'a>,
    /// The ledger that trials alter.
    trial: Ledger,
    tied: &'a BTreeMap<DutyKey, Tied>,
}

impl Search<'_> {
    fn run(&mut self, knob: &Knob<'_>) -> Result<Option<AttributeLimit>, ArticleError> {
        let found = self.searched(knob);
        self.trial.finishes.insert(knob.finish.id.clone(), knob.finish.clone());
        found
    }

    fn searched(&mut self, knob: &Knob<'_>) -> Result<Option<AttributeLimit>, ArticleError> {
        let (now, hung) = (knob.now, knob.hung);
        // A hair more, so that 0.29 is 29 hundredths and not 28.
        #[allow(clippy::cast_possible_truncation)]
        let steps = |value: f64| (value * knob.per_unit + 1e-9).floor().clamp(0.0, 1e9) as i64;
        let (least, mut limit) = (steps(knob.least), steps(now));
        // What lapsed by becoming paler or thinner is not restored by more of that.
        if least >= limit {
            return Ok(None);
        }
        let mut restored = Hung::new();
        let mut left: BTreeSet<DutyKey> = BTreeSet::new();
        for (showing, asked) in hung {
            for (used, met) in asked.iter().zip(self.met(knob, least, showing, asked)?) {
                if met {
                    restored.entry(showing.clone()).or_default().push(used.clone());
                } else {
                    left.insert((showing.clone(), used.0.clone()));
                }
            }
        }
        self.leave_tied(hung, &restored, &mut left);
        // Restored on one panel and not on another is not restored.
        for (showing, asked) in &mut restored {
            asked.retain(|(subject, _)| !left.contains(&(showing.clone(), subject.clone())));
        }
        let mut restores: BTreeSet<DutyKey> = BTreeSet::new();
        for (showing, asked) in restored.iter().filter(|(_, asked)| !asked.is_empty()) {
            restores.extend(asked.iter().map(|(subject, _)| (showing.clone(), subject.clone())));
            let mut all = |at: i64| Ok(self.met(knob, at, showing, asked)?.into_iter().all(|met| met));
            if all(limit)? {
                continue;
            }
            limit = last_holding(least, limit, all)?;
        }
        if restores.is_empty() {
            return Ok(None);
        }
        #[allow(clippy::cast_precision_loss)]
        let largest = limit as f64 / knob.per_unit;
        Ok(Some(AttributeLimit {
            finish: knob.finish.id.clone(),
            attribute: knob.attribute,
            now,
            largest,
            restores: restores.into_iter().collect(),
            leaves: left.len(),
        }))
    }

    /// Leaves out what is not met on a panel that does not hang on this, and what rests on a duty that is not
    /// restored with it.
    fn leave_tied(&self, hung: &Hung, restored: &Hung, left: &mut BTreeSet<DutyKey>) {
        loop {
            let whole: BTreeSet<DutyKey> = restored
                .iter()
                .flat_map(|(showing, asked)| {
                    asked.iter().map(move |(subject, _)| (showing.clone(), subject.clone()))
                })
                .filter(|key| !left.contains(key))
                .collect();
            let names: BTreeSet<String> =
                whole.iter().map(|(showing, subject)| rested_on(showing, subject)).collect();
            let hangs = |(showing, subject): &DutyKey, panel: &String| {
                let own = |(one, at): &Used| one == subject && at == panel;
                hung.get(showing).is_some_and(|asked| asked.iter().any(own))
            };
            let more: Vec<DutyKey> = whole
                .into_iter()
                .filter(|key| {
                    self.tied.get(key).is_some_and(|own| {
                        own.panels.iter().any(|panel| !hangs(key, panel)) || !own.rests.is_subset(&names)
                    })
                })
                .collect();
            if more.is_empty() {
                return;
            }
            left.extend(more);
        }
    }

    fn met(
        &mut self,
        knob: &Knob<'_>,
        at: i64,
        showing: &str,
        asked: &[Used],
    ) -> Result<Vec<bool>, ArticleError> {
        #[allow(clippy::cast_precision_loss)]
        let Some(finish) = (knob.turned)(&knob.finish.value, at as f64 / knob.per_unit) else {
            return Ok(vec![false; asked.len()]);
        };
        let finish = Entry { value: Arc::new(finish), ..knob.finish.clone() };
        self.trial.finishes.insert(finish.id.clone(), finish);
        self.trials.met(&self.trial, showing, asked)
    }
}

/// The finish in a colour that absorbs so much, its limits as far from the nominal as they are.
fn paler(finish: &Finish, absorptance: f64) -> Option<Finish> {
    let written = finish.colour.as_ref().and_then(|colour| colour.solar_absorptance.as_ref());
    let above = written.map_or(0.0, |own| own.high_si() - own.si());
    let below = written.map_or(0.0, |own| own.si() - own.low_si());
    let (low, high) = ((absorptance - below).max(0.0), (absorptance + above).min(1.0));
    let text = match written.is_some_and(|own| own.has_spread()) {
        true => format!("{absorptance:.2} ({low:.6} .. {high:.6})"),
        false => format!("{absorptance:.2}"),
    };
    let solar_absorptance = Some(Fraction::parse(&text).ok()?);
    let colour = match &finish.colour {
        Some(colour) => Colour { solar_absorptance, ..colour.clone() },
        None => Colour { name: None, solar_absorptance, emittance: None },
    };
    Some(Finish { colour: Some(colour), ..finish.clone() })
}

/// The finish with all its films thinner alike, so that at its limits it comes to so many um, or a hair less.
fn thinner(finish: &Finish, largest: f64) -> Option<Finish> {
    let now: f64 = film_build(finish).1.to_string().parse().ok()?;
    let share = if now > 0.0 { (largest / now).min(1.0) } else { 0.0 };
    // Rounding must not lift the sum over what is tried.
    let scaled = |own: &Quantity, round: fn(f64) -> f64| {
        let um = |si: f64| round(si * 1e6 * share * 1e4 - 1e-3) / 1e4;
        let (low, at, high) = (um(own.low_si()).max(0.0), um(own.si()).max(0.0), um(own.high_si()).max(0.0));
        let text = match own.has_spread() {
            true => format!("{at:.4} um ({low:.4} .. {high:.4} um)"),
            false => format!("{at:.4} um"),
        };
        Length::parse(&text).ok()
    };
    let mut thin = finish.clone();
    for coat in &mut thin.coats {
        coat.dry_film = scaled(&coat.dry_film, f64::floor)?;
        if let Some(removed) = &coat.removed {
            coat.removed = Some(scaled(removed, f64::ceil)?);
        }
    }
    if let Some(repaint) = &finish.repaint {
        thin.repaint = Some(scaled(repaint, f64::floor)?);
    }
    Some(thin)
}
