//! Which contributors the scale says are systematically off. A suggestion: no prediction is changed by it.

use super::figures::{MassStatement, Residual, Scope};
use super::pieces::{Pass, Piece, Reach, Sort, Weigher};
use super::scale::{condition, on_the_scale};
use super::spread::{Item, reached};
use super::stages::{PieceStages, stages};
use super::statement::statement;
use crate::article::ArticleError;
use crate::article::sight::{Cause, Limit, Sight};
use crate::ledger::weighed::{Closeness, Standing};
use crate::ledger::{Entry, Ledger};
use crate::mass::{Estimates, MassError, Reading, learn};
use crate::record::{Address, Condition, Maturity, Panel, RecordKind};
use std::collections::BTreeMap;

/// Where the deviation after the readings is more than this share of the one before, they are too few to tell.
/// Common practice, no source.
const TOLD: f64 = 0.8;
/// An estimate so many deviations from nothing is off. Common practice, no source: by chance one in
/// twenty is.
const OFF: f64 = 2.0;

macro_rules! contributors {
    ($($(#[$meta:meta])* $name:ident = $word:literal,)*) => {
        /// What makes up the mass of a panel.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Contributor { $($(#[$meta])* $name,)* }

        impl Contributor {
            /// All, in the order of a lay-up.
            pub const ALL: &[Contributor] = &[$(Contributor::$name,)*];

            /// Returns the word for it.
            pub fn word(self) -> &'static str {
                match self { $(Contributor::$name => $word,)* }
            }
        }
    };
}

contributors! {
    /// Surfacing film.
    Surfacing = "surfacing",
    /// Mesh without the resin that fills it.
    Mesh = "mesh",
    /// Fibre of plies.
    Fibre = "fibre",
    /// Resin of plies, taken up by cores, filling meshes.
    Resin = "resin",
    /// Core without the resin that it takes up.
    Core = "core",
    /// Film adhesive in a laminate.
    Film = "film-adhesive",
    /// Any other layer.
    Layer = "other-layers",
    /// Sheets.
    Sheet = "sheet",
    /// Adhesive of joints.
    Paste = "paste",
    /// Edges and fittings.
    Parts = "edges-and-fittings",
    /// Filler and primer.
    Ground = "filler-and-primer",
    /// Colour and clear coats.
    TopCoat = "top-coats",
}

/// What an estimate says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// No tolerance is written for it, so that it was held at its prediction.
    NoTolerance,
    /// It was on no scale.
    NotWeighed,
    /// The readings say little more than the tolerances did.
    TooFew,
    /// Nothing systematic is seen.
    AsPredicted,
    /// Heavier than predicted.
    Heavy,
    /// Lighter than predicted.
    Light,
}

impl Says {
    /// Returns the word for it.
    pub fn word(self) -> &'static str {
        match self {
            Says::NoTolerance => "no-tolerance",
            Says::NotWeighed => "not-weighed",
            Says::TooFew => "too-few-to-tell",
            Says::AsPredicted => "as-predicted",
            Says::Heavy => "heavy",
            Says::Light => "light",
        }
    }
}

/// One contributor: shares of its predicted mass, deviations one sigma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Which.
    pub contributor: Contributor,
    /// What one of each weighed panel was predicted to hold of it, in kg.
    pub weighed_kg: f64,
    /// What the scope holds of it that is still predicted, in kg.
    pub predicted_kg: f64,
    /// Deviation before the readings, from the tolerances written.
    pub prior: f64,
    /// How far it is off.
    pub share: f64,
    /// Deviation of that.
    pub deviation: f64,
    /// What that says.
    pub says: Says,
}

/// What one panel would weigh with the estimates: all pieces in the scope, in kg.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedPanel {
    /// Its id.
    pub panel: String,
    /// As the statement has it.
    pub kg: f64,
    /// What the estimates add.
    pub change_kg: f64,
    /// One deviation of that.
    pub deviation_kg: f64,
}

/// What weighings teach about contributors.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// How many readings were learned from.
    pub readings: usize,
    /// Of how many pieces.
    pub pieces: usize,
    /// Weighings left out, since their piece is on hold or was disposed.
    pub left_out: Vec<String>,
    /// Weighings whose prediction is that of now.
    pub of_now: Vec<String>,
    /// What was taken of pieces and scale.
    pub closeness: Closeness,
    /// Every contributor that the weighed panels or the scope have, in the order of a lay-up.
    pub estimates: Vec<Estimate>,
    /// The scope as its statement has it, in kg.
    pub kg: f64,
    /// What the estimates add to it.
    pub change_kg: f64,
    /// One deviation of that.
    pub deviation_kg: f64,
    /// Panel by panel.
    pub panels: Vec<LearnedPanel>,
}

/// Masses by contributor, in the order of [`Contributor::ALL`].
type Masses = Vec<f64>;

fn none() -> Masses {
    vec![0.0; Contributor::ALL.len()]
}

/// The parts of a piece.
fn parts(piece: &Piece<'_>) -> [(Contributor, f64); 2] {
    let own = match (piece.sort, piece.word) {
        (Sort::Ground, _) => Contributor::Ground,
        (Sort::TopCoat, _) => Contributor::TopCoat,
        (Sort::Paste, _) => Contributor::Paste,
        (Sort::Fitting, _) | (Sort::Body, "edge") => Contributor::Parts,
        (Sort::Body, "ply") => Contributor::Fibre,
        (Sort::Body, "core") => Contributor::Core,
        (Sort::Body, "film") => Contributor::Film,
        (Sort::Body, "mesh") => Contributor::Mesh,
        (Sort::Body, "surfacing") => Contributor::Surfacing,
        (Sort::Body, "sheet") => Contributor::Sheet,
        (Sort::Body, _) => Contributor::Layer,
    };
    [(own, piece.kg - piece.resin), (Contributor::Resin, piece.resin)]
}

fn add(to: &mut Masses, contributor: Contributor, kg: f64) {
    let at = Contributor::ALL.iter().position(|one| *one == contributor);
    if let Some(sum) = at.and_then(|at| to.get_mut(at)) {
        *sum += kg;
    }
}

fn by_contributor(pieces: &[Piece<'_>], counts: impl Fn(&Piece<'_>) -> f64) -> Masses {
    let mut masses = none();
    for piece in pieces {
        for (contributor, kg) in parts(piece) {
            add(&mut masses, contributor, kg * counts(piece));
        }
    }
    masses
}

/// Returns whether a cause is of what is drawn: it strays panel by panel and says nothing of a contributor.
fn is_drawn(cause: &Cause) -> bool {
    let key = cause.route.rsplit('.').next().unwrap_or_default();
    cause.address.kind() == RecordKind::Panel && ["area", "length", "width", "overlap"].contains(&key)
}

/// A weighed panel with what its tolerances do.
struct Bench<'a> {
    pieces: Vec<Piece<'a>>,
    /// One deviation of every part of every piece by what is drawn: cause by cause.
    drawn: Vec<Vec<f64>>,
    /// One deviation of every part of every piece, all other causes together.
    strays: Vec<[f64; 2]>,
}

impl<'a> Bench<'a> {
    fn new(weigher: &Weigher<'a>, panel: &'a Entry<Panel>) -> Result<Self, ArticleError> {
        let pieces = weigher.pieces(panel, &Pass::nominal(weigher))?;
        let mut strays = vec![[0.0; 2]; pieces.len()];
        let mut drawn = Vec::new();
        for cause in reached(weigher, &[Item::Panel(panel)])?.into_keys() {
            // A reading of the scale is no figure of the panel.
            if cause.address.kind() == RecordKind::Weighing {
                continue;
            }
            let at = |limit: Limit| {
                let nudge = |address: &Address, route: &str| {
                    if *address == cause.address && route == cause.route { limit } else { Limit::Nominal }
                };
                weigher.pieces(panel, &Pass::moved(weigher, Sight::moved(&nudge), Reach::One(&cause)))
            };
            let (low, high) = (at(Limit::Low)?, at(Limit::High)?);
            // Limits lie two deviations away on either side.
            let both = || low.iter().zip(&high);
            if is_drawn(&cause) {
                drawn.push(both().map(|(low, high)| (high.kg - low.kg) / 4.0).collect());
                continue;
            }
            for (stray, (low, high)) in strays.iter_mut().zip(both()) {
                for (sum, ((_, low), (_, high))) in stray.iter_mut().zip(parts(low).iter().zip(parts(high))) {
                    *sum += ((high - low) / 4.0).powi(2);
                }
            }
        }
        strays.iter_mut().flatten().for_each(|variance| *variance = variance.sqrt());
        Ok(Self { pieces, drawn, strays })
    }

    fn kg(&self, stage: Condition) -> f64 {
        self.on_scale(stage).map(|(_, piece)| piece.kg).sum()
    }

    fn on_scale(&self, stage: Condition) -> impl Iterator<Item = (usize, &Piece<'a>)> {
        self.pieces.iter().enumerate().filter(move |(_, piece)| on_the_scale(piece.sort, stage))
    }
}

/// One reading that is learned from, with its piece and what its panel strays with.
struct Taken<'b, 'a> {
    bench: &'b Bench<'a>,
    panel: &'b str,
    piece: usize,
    residual: &'b Residual,
    /// The prediction of the residual over that of now: what its contributors were is not kept, so they are
    /// taken in the proportions of now.
    scale: f64,
    /// What was added since the reading before of the same piece, in kg, as predicted; none less.
    steps: Vec<f64>,
}

impl Taken<'_, '_> {
    fn covariance(&self, other: &Self, closeness: Closeness) -> f64 {
        let mut sum = 0.0;
        if self.panel == other.panel {
            // An area is drawn wrong for all pieces alike.
            for cause in &self.bench.drawn {
                let of = |taken: &Self| {
                    let on = taken.bench.on_scale(taken.residual.condition);
                    taken.scale * on.filter_map(|(at, _)| cause.get(at)).sum::<f64>()
                };
                sum += of(self) * of(other);
            }
        }
        if self.piece == other.piece {
            // What one stage added strays once, and stays on for every later one.
            let steps = self.steps.iter().zip(&other.steps);
            sum += steps.map(|(step, _)| (closeness.scatter * step).powi(2)).sum::<f64>();
        }
        if self.residual.weighing == other.residual.weighing {
            sum += (closeness.scale * self.residual.predicted_kg).powi(2);
        }
        sum
    }
}

/// Estimates from all weighings of the ledger which contributors are off, and what the scope of a statement would
/// weigh with that.
///
/// Contributors are taken to be off alike everywhere. Their deviations before the readings are those of the
/// tolerances written, without areas and lengths, which stray panel by panel.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
pub fn learned(ledger: &Ledger, of: &MassStatement) -> Result<Learned, ArticleError> {
    let weigher = Weigher::new(ledger);
    let whole;
    let programme = if of.scope == Scope::Programme {
        of
    } else {
        whole = statement(ledger, Scope::Programme)?;
        &whole
    };
    let lists = stages(&programme.panels);
    let mut benches = BTreeMap::new();
    for list in &lists {
        benches.insert(list.panel.as_str(), Bench::new(&weigher, weigher.panel(&list.panel)?)?);
    }
    let closeness = Closeness::of(ledger);
    let mut taken: Vec<Taken<'_, '_>> = Vec::new();
    let (mut left_out, mut of_now, mut pieces) = (Vec::new(), Vec::new(), 0);
    for list in &lists {
        let Some(bench) = benches.get(list.panel.as_str()) else { continue };
        for piece in &list.pieces {
            let before = taken.len();
            take(bench, &list.panel, pieces, piece, &mut taken, &mut left_out);
            pieces += usize::from(taken.len() > before);
        }
    }
    of_now.extend(taken.iter().filter(|one| !one.residual.as_built).map(|one| one.residual.weighing.clone()));
    let priors = priors(benches.values());
    let readings: Vec<Reading> = taken
        .iter()
        .map(|one| Reading {
            residual: one.residual.kg(),
            masses: by_contributor(&one.bench.pieces, |piece| {
                if on_the_scale(piece.sort, one.residual.condition) { one.scale } else { 0.0 }
            }),
            covariance: taken.iter().map(|other| one.covariance(other, closeness)).collect(),
        })
        .collect();
    let estimates = learn(&readings, &priors).map_err(|problem| unfit(&problem))?;
    let mut predicted = none();
    let mut panels = Vec::new();
    for panel in &of.panels {
        let entry = weigher.panel(&panel.panel)?;
        let share = still_predicted(&weigher, entry);
        let masses: Masses = by_contributor(&weigher.pieces(entry, &Pass::nominal(&weigher))?, share)
            .into_iter()
            .map(|kg| kg * panel.quantity as f64)
            .collect();
        let (change_kg, deviation_kg) = estimates.effect(&masses);
        panels.push(LearnedPanel { panel: panel.panel.clone(), kg: panel.kg, change_kg, deviation_kg });
        predicted.iter_mut().zip(&masses).for_each(|(sum, kg)| *sum += kg);
    }
    let (change_kg, deviation_kg) = estimates.effect(&predicted);
    let mut weighed = none();
    for bench in benches.values() {
        let own = by_contributor(&bench.pieces, |_| 1.0);
        weighed.iter_mut().zip(own).for_each(|(sum, kg)| *sum += kg);
    }
    // What lay on a scale at least once.
    let seen: Masses = readings
        .iter()
        .fold(none(), |sum, one| sum.iter().zip(&one.masses).map(|(sum, kg)| sum + kg).collect());
    Ok(Learned {
        readings: readings.len(),
        pieces,
        left_out,
        of_now,
        closeness,
        estimates: told(&estimates, &priors, &weighed, &predicted, &seen),
        kg: of.total.kg,
        change_kg,
        deviation_kg,
        panels,
    })
}

fn unfit(problem: &MassError) -> ArticleError {
    ArticleError::Unfit { address: Address::ledger(), problem: problem.to_string() }
}

/// Takes the readings of one piece; those of a piece on hold or disposed are no lesson about all pieces.
fn take<'b, 'a>(
    bench: &'b Bench<'a>,
    panel: &'b str,
    number: usize,
    piece: &'b PieceStages,
    taken: &mut Vec<Taken<'b, 'a>>,
    left_out: &mut Vec<String>,
) {
    let mut steps = Vec::new();
    let mut before = 0.0;
    for reading in &piece.readings {
        let residual = &reading.residual;
        if matches!(residual.standing, Standing::OnHold | Standing::Disposed) {
            left_out.push(residual.weighing.clone());
            continue;
        }
        let now = bench.kg(residual.condition);
        if now <= 0.0 {
            continue;
        }
        steps.push(residual.predicted_kg - before);
        before = residual.predicted_kg;
        let (scale, steps) = (residual.predicted_kg / now, steps.clone());
        taken.push(Taken { bench, panel, piece: number, residual, scale, steps });
    }
}

/// One deviation of every contributor over its mass in the weighed panels, taken to stray alike in all of them.
fn priors<'b, 'a: 'b>(benches: impl Iterator<Item = &'b Bench<'a>>) -> Vec<f64> {
    let (mut strays, mut masses) = (none(), none());
    for bench in benches {
        for (piece, stray) in bench.pieces.iter().zip(&bench.strays) {
            for ((contributor, kg), stray) in parts(piece).into_iter().zip(stray) {
                add(&mut masses, contributor, kg);
                add(&mut strays, contributor, *stray);
            }
        }
    }
    strays.iter().zip(&masses).map(|(stray, kg)| if *kg > 0.0 { stray / kg } else { 0.0 }).collect()
}

/// What share of a piece of a panel is predicted still: of a weighed one what was not on the scale.
fn still_predicted<'a>(weigher: &Weigher<'a>, panel: &Entry<Panel>) -> impl Fn(&Piece<'_>) -> f64 {
    let weighings = match panel.value.maturity {
        Some(Maturity::Weighed) => weigher.last_weighings(&panel.id),
        _ => &[],
    };
    let stages: Vec<Condition> = weighings.iter().map(|weighing| condition(weighing)).collect();
    move |piece| {
        let off = stages.iter().filter(|stage| !on_the_scale(piece.sort, **stage)).count();
        if stages.is_empty() { 1.0 } else { off as f64 / stages.len() as f64 }
    }
}

fn told(
    estimates: &Estimates,
    priors: &[f64],
    weighed: &[f64],
    predicted: &[f64],
    seen: &[f64],
) -> Vec<Estimate> {
    let deviations = estimates.deviations();
    let at = |list: &[f64], place: usize| list.get(place).copied().unwrap_or(0.0);
    let one = |(place, contributor): (usize, &Contributor)| {
        let (prior, deviation) = (at(priors, place), at(&deviations, place));
        let share = at(&estimates.shares, place);
        let says = if at(seen, place) <= 0.0 {
            Says::NotWeighed
        } else if prior <= 0.0 {
            Says::NoTolerance
        } else if deviation > TOLD * prior {
            Says::TooFew
        } else if share.abs() <= OFF * deviation {
            Says::AsPredicted
        } else if share > 0.0 {
            Says::Heavy
        } else {
            Says::Light
        };
        Estimate {
            contributor: *contributor,
            weighed_kg: at(weighed, place),
            predicted_kg: at(predicted, place),
            prior,
            share,
            deviation,
            says,
        }
    };
    let all = Contributor::ALL.iter().enumerate().map(one);
    all.filter(|one| one.weighed_kg > 0.0 || one.predicted_kg > 0.0).collect()
}

#[cfg(test)]
mod tests;
