//! Load cases on the laminates of zones: which states of load each brings, the plate included.

use super::super::earlier::{Earlier, Recalled};
use super::core::{faces, sandwich};
use super::inputs::Known;
use super::laid::{LaidUp, laid_up};
use super::plies::{Case, Loading, design_strain, held_back, strength};
use super::values::{DesignValue, Lacking, Statistic, Values, environment_of};
use super::{Margin, PanelMargins, PlateState, Uncomputed};
use crate::article::{ArticleError, Subject};
use crate::laminate::plate::{self, Bending, Plate, Support, buckling, pressure, reduced_bending};
use crate::laminate::{DesignStrain, LaminateError, Load, Matrix3, stiffness};
use crate::ledger::{Entry, Ledger};
use crate::record::{ComputedCheck, Load as LoadCase, Panel, Recipe, Sourced, Text, Zone};
use foldhash::HashMap;
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

/// Works out the margins of all load cases on all zones with a laminate.
pub(super) fn zones(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    memo: &Memo,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    if panel.value.loads.is_empty() {
        return Ok(());
    }
    let plate_zone = chosen_plate_zone(panel, found);
    for zone in &panel.value.zones {
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        let carried: Vec<&LoadCase> = panel
            .value
            .loads
            .iter()
            .filter(|load| {
                let here = load.zone.as_ref().is_none_or(|own| *own == zone.name);
                let plain = load.n.is_some() || load.m.is_some();
                let heat = load.temperature.is_some() && load.pressure.is_none() && !plain;
                let pressed = load.pressure.is_some() && plate_zone == Some(zone.name.as_str());
                here && (plain || heat || pressed)
            })
            .collect();
        if carried.is_empty() {
            continue;
        }
        let environments = environments(ledger, recipe, Some(&panel.value));
        for environment in &environments {
            let values = Values { environment: environment.as_deref(), ..*values };
            let laid = laid_up(ledger, recipe, &values)?;
            found.note(&laid.used);
            let strains = strains(&panel.value, recipe, &values);
            if let Ok((_, used)) = &strains {
                found.note(used);
            }
            let bench = Bench {
                ledger,
                panel,
                zone,
                laid: &laid,
                environment: environment.as_deref(),
                strains: &strains,
                is_plate: plate_zone == Some(zone.name.as_str()),
                memo,
            };
            for load in &carried {
                bench.case(load, found);
            }
        }
    }
    left_over(panel, plate_zone, found);
    Ok(())
}

/// What a case brings and nothing takes up is said: a load that is left out is a margin that nobody sees.
fn left_over(panel: &Entry<Panel>, plate_zone: Option<&str>, found: &mut PanelMargins) {
    let laminate =
        |name: &str| panel.value.zones.iter().any(|zone| zone.name.as_str() == name && zone.recipe.is_some());
    let any = panel.value.zones.iter().any(|zone| zone.recipe.is_some());
    for load in &panel.value.loads {
        let own = load.zone.as_ref().map(|zone| zone.as_str());
        let mut lack = |what: &str, why: String| {
            for check in [ComputedCheck::Strength, ComputedCheck::Sandwich] {
                found.uncomputed.push(Uncomputed {
                    check,
                    case: load.name.to_string(),
                    place: own.map_or("panel".to_string(), |zone| format!("zone {zone}")),
                    why: format!("{what}: {why}"),
                });
            }
        };
        if load.pressure.is_some() {
            match plate_zone {
                None => lack(
                    "the pressure",
                    "it needs the `plate: {length, width, support}` that stands for the panel".to_string(),
                ),
                Some(zone) if !laminate(zone) => {
                    lack("the pressure", format!("the plate's zone `{zone}` has no laminate"));
                }
                Some(zone) if own.is_some_and(|own| own != zone) => {
                    lack("the pressure", format!("the plate stands for the zone `{zone}`, not for this one"));
                }
                Some(_) => {}
            }
        }
        if load.n.is_some() || load.m.is_some() || load.temperature.is_some() {
            let carried = own.map_or(any, laminate);
            if !carried {
                lack("what acts in the plane", "no laminate carries it".to_string());
            }
        }
    }
}

/// The zone whose laminate the panel's plate is made of: the one that it names, else the first with a laminate.
pub(crate) fn plate_zone(panel: &Panel) -> Option<&str> {
    let named = panel.plate.as_ref()?.zone.as_ref();
    let first = || panel.zones.iter().find(|zone| zone.recipe.is_some()).map(|zone| &zone.name);
    named.or_else(first).map(Text::as_str)
}

/// As [`plate_zone`], saying where it had to choose.
fn chosen_plate_zone<'p>(panel: &'p Entry<Panel>, found: &mut PanelMargins) -> Option<&'p str> {
    let zone = plate_zone(&panel.value)?;
    let named = panel.value.plate.as_ref().is_some_and(|plate| plate.zone.is_some());
    if !named && panel.value.zones.iter().filter(|zone| zone.recipe.is_some()).nth(1).is_some() {
        found.assumptions.push(format!(
            "panel/{}#plate names no zone: that of `{zone}`, the first with a laminate, is taken",
            panel.id
        ));
    }
    Some(zone)
}

/// Every environment of the laminates of a panel, as [`environments`] has them of one.
pub(super) fn all_environments(ledger: &Ledger, panel: &Panel) -> Vec<Option<String>> {
    let recipes =
        panel.zones.iter().filter_map(|zone| ledger.recipes.get(zone.recipe.as_ref().map(|own| own.id())?));
    let names: BTreeSet<String> =
        recipes.flat_map(|recipe| environments(ledger, recipe, Some(panel))).flatten().collect();
    if names.is_empty() { vec![None] } else { names.into_iter().map(Some).collect() }
}

/// Every environment that some value of the laminate is taken from by name, where one comes from several.
pub(crate) fn environments(
    ledger: &Ledger,
    recipe: &Entry<Recipe>,
    panel: Option<&Panel>,
) -> Vec<Option<String>> {
    let mut names: BTreeSet<String> = BTreeSet::new();
    let mut add = |showings: &[crate::record::ShowingRef]| {
        if showings.len() > 1 {
            let entries = showings.iter().filter_map(|own| ledger.showings.get(own.id()));
            names.extend(entries.map(|entry| environment_of(&entry.value)));
        }
    };
    for layer in &recipe.value.layers {
        let Some(material) = ledger.materials.get(layer.material.id()) else { continue };
        if let Some(own) = &material.value.lamina {
            for sourced in [&own.e1, &own.e2, &own.g12] {
                if let Sourced::From(showings) = sourced {
                    add(&showings.0);
                }
            }
        }
        for (_, sourced) in material.value.strength.iter().flat_map(|own| own.figures()) {
            if let Some(Sourced::From(showings)) = sourced {
                add(&showings.0);
            }
        }
    }
    if let Some(own) = panel.and_then(|panel| panel.design_strain.as_ref()) {
        for sourced in [&own.tension, &own.compression, &own.shear].into_iter().flatten() {
            if let Sourced::From(showings) = sourced {
                add(&showings.0);
            }
        }
    }
    if names.is_empty() { vec![None] } else { names.into_iter().map(Some).collect() }
}

pub(super) type Strains = Result<(Option<DesignStrain>, Vec<DesignValue>), Vec<Lacking>>;

/// The panel's design strains, from notched and impacted tests on the zone's laminate.
pub(super) fn strains(panel: &Panel, recipe: &Entry<Recipe>, values: &Values<'_>) -> Strains {
    let Some(own) = &panel.design_strain else { return Ok((None, Vec::new())) };
    let subject = Subject::Laminate(recipe.id.clone());
    let (mut used, mut lacking) = (Vec::new(), Vec::new());
    let mut of = |sense: &str, sourced: &Option<Sourced<crate::quantity::Strain>>| {
        let sourced = sourced.as_ref()?;
        let what = format!("design strain in {sense}");
        match values.value(sourced, &what, Some(&subject), Statistic::ByLoadPath, ("ustrain", 1e-6)) {
            Ok(value) => {
                let strain = value.value;
                used.push(value);
                Some(strain)
            }
            Err(problem) => {
                lacking.push(problem);
                None
            }
        }
    };
    let strains = DesignStrain {
        tension: of("tension", &own.tension),
        compression: of("compression", &own.compression),
        shear: of("shear", &own.shear),
    };
    if lacking.is_empty() { Ok((Some(strains), used)) } else { Err(lacking) }
}

struct Bench<'a> {
    ledger: &'a Ledger,
    panel: &'a Entry<Panel>,
    zone: &'a Zone,
    laid: &'a LaidUp,
    environment: Option<&'a str>,
    strains: &'a Strains,
    /// Whether the panel's plate is made of this zone.
    is_plate: bool,
    memo: &'a Memo,
}

/// What was computed already: plates by everything that they are, since panels of one laminate share them, and
/// margins of panels by what they are made from.
#[derive(Debug, Default)]
pub struct Memo {
    plates: Mutex<HashMap<[u64; 12], Result<Bending, LaminateError>>>,
    pub(super) known: Known,
    /// What earlier runs worked out.
    pub(in super::super) recalled: Recalled,
}

impl Memo {
    /// Returns a memory that begins with what earlier runs kept.
    pub(in super::super) fn after(earlier: Option<Arc<dyn Earlier>>) -> Self {
        Self { recalled: Recalled::new(earlier), ..Self::default() }
    }

    /// Returns the plate under a pressure of 1 Pa, to which all is proportional.
    fn bent(&self, plate: &Plate, key: [u64; 12]) -> Result<Bending, LaminateError> {
        let known = self.plates.lock().unwrap_or_else(PoisonError::into_inner).get(&key).cloned();
        if let Some(known) = known {
            return known;
        }
        let solved = pressure(plate, 1.0);
        self.plates.lock().unwrap_or_else(PoisonError::into_inner).insert(key, solved.clone());
        solved
    }
}

/// Returns a plate's state under another pressure than 1 Pa.
fn under(bent: &Bending, pressure: f64) -> Bending {
    let times = |own: [f64; 3]| own.map(|own| own * pressure);
    let pair = |own: [f64; 2]| own.map(|own| own * pressure);
    Bending {
        deflection: bent.deflection * pressure,
        centre: times(bent.centre),
        edge_moments: pair(bent.edge_moments),
        corner_twist: bent.corner_twist * pressure,
        edge_shears: pair(bent.edge_shears),
        grid: bent.grid.map(|row| row.map(times)),
        ..*bent
    }
}

impl Bench<'_> {
    fn case(&self, load: &LoadCase, found: &mut PanelMargins) {
        let mut notes = Vec::new();
        if load.factor.is_none() {
            notes.push("at limit load: the case names no `factor`".to_string());
        }
        let place = format!("zone {}", self.zone.name);
        let mut case = Case {
            name: load.name.as_str(),
            place: &place,
            check: ComputedCheck::Strength,
            laid: self.laid,
            environment: self.environment,
            loadings: &[],
            notes: &[],
        };
        let lacks = |check, why: String, found: &mut PanelMargins| {
            let own = case.lacks(check, why);
            if !found.uncomputed.contains(&own) {
                found.uncomputed.push(own);
            }
        };
        // Whatever is missing is missing for every check that the case would have fed.
        let mut fed = vec![ComputedCheck::Strength];
        if self.laid.cores > 0 {
            fed.push(ComputedCheck::Sandwich);
        }
        if self.is_plate && load.n.is_some() {
            fed.push(ComputedCheck::Buckling);
        }
        let lacks_all = |why: String, found: &mut PanelMargins| {
            for check in &fed {
                lacks(*check, why.clone(), found);
            }
        };
        let soft: Vec<&Lacking> = self.laid.soft().collect();
        if !soft.is_empty() {
            for lacking in soft {
                lacks_all(lacking.to_string(), found);
            }
            return;
        }
        if self.laid.carrying.is_empty() {
            return lacks_all("no layer of the laminate has elastic values".to_string(), found);
        }
        let heat = match self.heat(load) {
            Ok(heat) => heat,
            Err(why) => return lacks_all(why, found),
        };
        let factor = load.factor.unwrap_or(1.0) * load.special_factor.unwrap_or(1.0);
        let forces = load.n.as_ref().map_or([0.0; 3], |own| [own[0].si(), own[1].si(), own[2].si()]);
        let moments = load.m.as_ref().map_or([0.0; 3], |own| [own[0].si(), own[1].si(), own[2].si()]);
        let plain = Load {
            force: forces.map(|force| force * factor),
            moment: moments.map(|moment| moment * factor),
            temperature: heat,
        };
        if load.pressure.is_none() && load.n.is_none() && load.m.is_none() {
            if heat != 0.0 {
                let held = Load { temperature: heat, ..Load::default() };
                held_back(&case, &held, &mut found.margins, &mut found.uncomputed);
            }
            return;
        }
        if load.n.is_some() && !self.is_plate && compresses(plain.force) {
            notes.push("buckling is not judged: no plate stands for the zone".to_string());
        }
        let mut loadings = Vec::new();
        if load.pressure.is_none() || !self.is_plate {
            loadings.push(Loading { place: String::new(), load: plain, shears: [0.0; 2], pressure: 0.0 });
        }
        if self.is_plate && (load.pressure.is_some() || load.n.is_some()) {
            match self.plate() {
                Ok(plate) => self.plate_states(
                    &case,
                    (load, plain, factor),
                    &plate,
                    (&mut loadings, &mut notes),
                    found,
                ),
                Err(why) if load.pressure.is_some() => return lacks_all(why, found),
                Err(why) => lacks(ComputedCheck::Buckling, why, found),
            }
        }
        case.loadings = &loadings;
        case.notes = &notes;
        let (mut margins, mut uncomputed): (Vec<Margin>, Vec<Uncomputed>) = (Vec::new(), Vec::new());
        if self.laid.lacking.is_empty() {
            strength(&case, &mut margins, &mut uncomputed);
        } else {
            uncomputed.extend(self.laid.lacking.iter().map(|one| case.lacks(ComputedCheck::Strength, one)));
        }
        match self.strains {
            Ok((Some(strains), used)) => design_strain(&case, strains, used, &mut margins, &mut uncomputed),
            Ok((None, _)) => {}
            Err(lacking) => {
                uncomputed.extend(lacking.iter().map(|one| case.lacks(ComputedCheck::Strength, one)));
            }
        }
        sandwich(self.ledger, &case, &mut margins, &mut uncomputed);
        found.margins.extend(margins);
        found.uncomputed.extend(uncomputed);
    }

    /// The change of temperature since the laminate was free of stress, K; 0 where the case names none.
    fn heat(&self, load: &LoadCase) -> Result<f64, String> {
        let Some(temperature) = &load.temperature else { return Ok(0.0) };
        if let Some(layer) = self.laid.carrying.iter().find(|layer| !layer.expands) {
            let material = self.laid.layers.get(layer.at).map_or("", |own| own.material.as_str());
            return Err(format!("material/{material} has no expansion (`cte1` and `cte2`, or `cte`)"));
        }
        let free = self
            .laid
            .stress_free
            .ok_or("the process has no `cure`: where it is free of stress is unknown")?;
        Ok(temperature.si() - free)
    }

    /// The plate that stands for the panel, of this zone's laminate.
    fn plate(&self) -> Result<(Plate, [u64; 12]), String> {
        let own = self.panel.value.plate.as_ref().ok_or("the panel has no `plate`")?;
        let support = match own.support.as_ref().map(|text| text.as_str()) {
            None | Some("simply-supported") => Support::SimplySupported,
            Some("clamped") => Support::Clamped,
            Some(other) => return Err(format!("`support: {other}` is not computed")),
        };
        let words = |problem: LaminateError| problem.to_string();
        let whole = stiffness(&self.laid.elastic()).map_err(words)?;
        let bending = reduced_bending(&whole.a, &whole.b, &whole.d).map_err(words)?;
        let bending = without_slight_coupling(bending);
        let shear = match faces(self.laid).map_err(words)? {
            None if self.laid.cores > 0 => {
                return Err(format!("a laminate of {} cores is not computed as a plate", self.laid.cores));
            }
            None => None,
            Some(faces) => {
                let core = self.laid.core.as_ref().and_then(|core| self.ledger.materials.get(&core.material));
                let core = core.ok_or("the core cannot be read")?;
                let shear = faces.shear_stiffness(&core.value);
                Some(shear.ok_or_else(|| format!("the core material/{} has no `shear_modulus`", core.id))?)
            }
        };
        let sides = [own.length.si(), own.width.si()];
        let plate = Plate::new(sides, bending, shear, support).map_err(words)?;
        let [[d11, d12, d16], [_, d22, d26], [_, _, d66]] = bending;
        let [along, across] = shear.unwrap_or_default();
        let clamped = if support == Support::Clamped { 1.0 } else { 0.0 };
        let all = [sides[0], sides[1], d11, d12, d16, d22, d26, d66, along, across, clamped, 0.0];
        Ok((plate, all.map(f64::to_bits)))
    }

    fn plate_states(
        &self,
        case: &Case<'_>,
        (load, plain, factor): (&LoadCase, Load, f64),
        (plate, key): &(Plate, [u64; 12]),
        (loadings, notes): (&mut Vec<Loading>, &mut Vec<String>),
        found: &mut PanelMargins,
    ) {
        let mut state = PlateState {
            case: load.name.to_string(),
            zone: self.zone.name.to_string(),
            environment: self.environment.map(str::to_string),
            ..PlateState::default()
        };
        // Forces in the plane that press on a bent plate bend it further.
        let mut amplified = 1.0;
        if load.n.is_some() {
            match buckling(plate, plain.force) {
                Ok(Some(own)) => {
                    state.buckling_factor = Some(own.factor);
                    let waves =
                        own.half_waves.map_or(String::new(), |[m, n]| format!(", {m} by {n} half-waves"));
                    let words = format!("buckles at {:.3} times the factored load{waves}", own.factor);
                    let mode = if own.crimping { "shear crimping" } else { "buckling" };
                    let check = ComputedCheck::Buckling;
                    found.margins.push(case.margin(check, "buckling", mode, own.factor, words));
                    if load.pressure.is_some() && own.factor <= 1.0 {
                        found.uncomputed.push(case.lacks(
                            ComputedCheck::Strength,
                            "the plate buckles below the factored load: its bending has no end",
                        ));
                        found.plates.push(state);
                        return;
                    }
                    amplified = 1.0 / (1.0 - 1.0 / own.factor);
                    if load.pressure.is_some() {
                        notes.push(format!(
                            "bending by the pressure is taken {amplified:.2} times, 1/(1 - 1/{:.2}), for the forces in \
                             the plane at the factored load; beyond it grows further, so that a positive margin is \
                             no reserve",
                            own.factor
                        ));
                    }
                }
                Ok(None) => {}
                Err(problem) => found.uncomputed.push(case.lacks(ComputedCheck::Buckling, problem)),
            }
        }
        if let Some(own) = &load.pressure {
            match self.memo.bent(plate, *key).map(|bent| under(&bent, own.si())) {
                Ok(bent) => {
                    let thickness = self.laid.carrying_thickness();
                    state.deflection_m = Some(bent.deflection);
                    state.over_thickness = bent.over_thickness(thickness).ok();
                    let ultimate = state.over_thickness.map(|share| share * factor * amplified);
                    state.is_linear = ultimate.is_none_or(|share| share <= plate::LINEAR_LIMIT);
                    if let Some(share) = ultimate.filter(|_| !state.is_linear) {
                        notes.push(format!(
                            "beyond linear theory: {share:.1} times the thickness deep at the factored load; membrane \
                             forces, which relieve bending and load the edges, are left out"
                        ));
                    }
                    let [qx, qy] = bent.edge_shears;
                    let edges = [
                        (
                            "at the middle of the edges x = 0 and a",
                            [bent.edge_moments[0], 0.0, 0.0],
                            [qx, 0.0],
                        ),
                        (
                            "at the middle of the edges y = 0 and b",
                            [0.0, bent.edge_moments[1], 0.0],
                            [0.0, qy],
                        ),
                    ];
                    let points = bent.grid.iter().enumerate().flat_map(|(i, row)| {
                        row.iter().enumerate().map(move |(j, moments)| (place(i, j), *moments, [0.0; 2]))
                    });
                    let points: Vec<(String, [f64; 3], [f64; 2])> = edges
                        .map(|(own, moments, shears)| (own.to_string(), moments, shears))
                        .into_iter()
                        .chain(points)
                        .collect();
                    // Which face the pressure acts on is not written: both ways are judged.
                    for (sign, way) in [(1.0, "pressed inward"), (-1.0, "drawn outward")] {
                        for (place, moments, shears) in &points {
                            let mut load = plain;
                            for (sum, own) in load.moment.iter_mut().zip(moments) {
                                *sum += sign * factor * amplified * own;
                            }
                            loadings.push(Loading {
                                place: format!("{place}, {way}"),
                                load,
                                shears: shears.map(|shear| shear * factor * amplified),
                                pressure: own.si() * factor,
                            });
                        }
                    }
                }
                Err(problem) => found.uncomputed.push(case.lacks(ComputedCheck::Strength, problem)),
            }
        }
        found.plates.push(state);
    }
}

/// Below this share of sqrt(D11 D22) the coupling of bending and twist is left out, as of a twill at 45 degrees:
/// deflection and buckling change by its square, moments by it (own comparison of both ways in the tests).
const SLIGHT: f64 = 0.01;

fn without_slight_coupling(bending: Matrix3) -> Matrix3 {
    let [[d11, d12, d16], [_, d22, d26], [_, _, d66]] = bending;
    if d16.abs().max(d26.abs()) > SLIGHT * (d11 * d22).sqrt() {
        return bending;
    }
    [[d11, d12, 0.0], [d12, d22, 0.0], [0.0, 0.0, d66]]
}

/// Whether forces per width press in some direction.
fn compresses([x, y, xy]: [f64; 3]) -> bool {
    (x + y) / 2.0 - ((x - y) / 2.0).hypot(xy) < 0.0
}

/// A point of the grid of a plate in words.
fn place(i: usize, j: usize) -> String {
    match (i, j) {
        (4, 4) => "in the middle".to_string(),
        (0, 0 | 8) => "in the corner".to_string(),
        _ => {
            let share = |at: usize| {
                ["0", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8", "1"].get(at).copied().unwrap_or("?")
            };
            format!("at {} of the length, {} of the width", share(i), share(j))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slight_coupling_moves_a_plate_by_less_than_a_thousandth() {
        // At the threshold itself, thin and with a soft core; both ways of the same solver.
        let d = |own: f64| [[440.0, 148.0, own], [148.0, 430.0, own], [own, own, 158.0]];
        let coupling = SLIGHT * (440.0_f64 * 430.0).sqrt();
        for shear in [None, Some([1.4e5, 1.4e5])] {
            for load in [[-1e3, 0.0, 0.0], [-1e3, -500.0, 0.0]] {
                let plate =
                    |bending| Plate::new([0.9, 0.6], bending, shear, Support::SimplySupported).unwrap();
                let (with, without) = (plate(d(coupling)), plate(without_slight_coupling(d(coupling))));
                let (one, two) = (pressure(&with, 1e3).unwrap(), pressure(&without, 1e3).unwrap());
                assert!((one.deflection / two.deflection - 1.0).abs() < 1e-3);
                assert!((one.centre[0] / two.centre[0] - 1.0).abs() < 2e-3);
                let factor = |plate| buckling(plate, load).unwrap().unwrap().factor;
                assert!((factor(&with) / factor(&without) - 1.0).abs() < 1e-3);
            }
        }
        assert_eq!(without_slight_coupling(d(coupling * 1.01)), d(coupling * 1.01));
    }
}
