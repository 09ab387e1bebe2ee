//! Showings that are computed anew each time, and window w9, which leans on them.
//!
//! They are judged after what gives design values and before what w9 looks at: nothing goes round in a
//! circle, since a showing with w9 in its row gives no value to a margin that a computed showing counts.

use super::delta::AsMade;
use super::duty::{Duty, DutyKey, Judged, Verdict};
use super::judge::{Reason, step_words};
use super::margins::{
    AsTested, Memo, PanelMargins, Rest, Uncomputed, counts, margins_shared, mode_as_tested, plate_zone,
    signed,
};
use super::pool::digits;
use super::table::{KindRow, Table};
use super::verdict::note;
use crate::article::weigh::programme_mass;
use crate::article::{ArticleError, LayerRole, NoSkin, Subject, expand, skin};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::{Asks, Condition, Window};
use crate::record::{ComputedCheck, Evidence, Figure, Joint, Load, Panel, Phrase, Showing, Text, Zone};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// The rule of a reason that a margin stands on evidence that is not in force.
const RESTS_ON: &str = super::rests::RESTS_ON;

/// The attribute of a reason that something could not be computed.
pub(super) const COMPUTED: &str = "computed";

/// Whether a panel has what a check needs.
///
/// # Errors
/// [`ArticleError`] where the layers of a recipe can't be read.
pub(super) fn needs_are_there(
    check: ComputedCheck,
    ledger: &Ledger,
    panel: &Panel,
) -> Result<bool, ArticleError> {
    let section = panel.section.is_some();
    Ok(match check {
        ComputedCheck::Mass | ComputedCheck::TemperatureMargin => true,
        ComputedCheck::Section | ComputedCheck::SectionTorsion => section,
        ComputedCheck::Buckling => {
            let plate = plate_zone(panel);
            let carries = |load: &Load| {
                load.n.is_some() && load.zone.as_ref().is_none_or(|own| plate == Some(own.as_str()))
            };
            plate.is_some() && panel.loads.iter().any(carries)
        }
        ComputedCheck::Mismatch => panel.joints.iter().any(|joint| joins_sheet(panel, joint)),
        ComputedCheck::Sandwich => {
            for zone in panel.zones.iter().filter(|zone| is_loaded(panel, zone)) {
                let recipe = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id()));
                let Some(recipe) = recipe else { continue };
                if expand(ledger, recipe)?.iter().any(|layer| layer.role == LayerRole::Core) {
                    return Ok(true);
                }
            }
            false
        }
        ComputedCheck::Strength => !panel.loads.is_empty(),
        ComputedCheck::Margins => section || !panel.loads.is_empty(),
    })
}

/// Whether some load case reaches a zone. Where a pressure has no plate, which zone bears it is not known, and
/// each counts.
fn is_loaded(panel: &Panel, zone: &Zone) -> bool {
    let plate = plate_zone(panel);
    panel.loads.iter().any(|load| {
        let here = load.zone.as_ref().is_none_or(|own| *own == zone.name);
        let plain = load.n.is_some() || load.m.is_some();
        let pressed = load.pressure.is_some() && plate.is_none_or(|own| zone.name.as_str() == own);
        here && (plain || pressed)
    })
}

/// Whether a joint bonds a sheet to a laminate.
fn joins_sheet(panel: &Panel, joint: &Joint) -> bool {
    let Some(names) = &joint.between else { return false };
    let sheet =
        |name: &Text| panel.zones.iter().find(|zone| zone.name == *name).map(|zone| zone.sheet.is_some());
    matches!((sheet(&names[0]), sheet(&names[1])), (Some(one), Some(two)) if one != two)
}

/// Whether a row looks at what is computed.
pub fn leans_on_computed(row: &KindRow) -> bool {
    row.cells.values().any(|cell| cell.steps.iter().any(|step| step.conditions().any(is_w9)))
}

fn is_w9(condition: Condition<'_>) -> bool {
    matches!(condition, Condition::Window(Window::W9Met | Window::W9Failed))
}

/// What is computed of a ledger's panels, each once and only where somebody asks.
pub(super) struct Live<'a> {
    ledger: &'a Ledger,
    /// Duties that design values come from, with what they rest on and concessions laid over them.
    standing: BTreeMap<DutyKey, Duty>,
    memo: Arc<Memo>,
    /// Whether margins are kept for later runs.
    keeps: bool,
    panels: BTreeMap<&'a str, OnceLock<Result<Arc<PanelMargins>, ArticleError>>>,
    /// Verdicts of computed showings by panel, once they are judged.
    verdicts: BTreeMap<String, Vec<(ComputedCheck, Verdict)>>,
}

impl<'a> Live<'a> {
    pub(super) fn new(
        ledger: &'a Ledger,
        standing: BTreeMap<DutyKey, Duty>,
        (memo, keeps): (Arc<Memo>, bool),
    ) -> Self {
        let panels = ledger.panels.keys().map(|panel| (panel.as_str(), OnceLock::new())).collect();
        Self { ledger, standing, memo, keeps, panels, verdicts: BTreeMap::new() }
    }

    /// Keeps the verdicts of computed showings for w9.
    pub(super) fn keep(&mut self, duties: &BTreeMap<DutyKey, Duty>) {
        for ((showing, subject), duty) in duties {
            let Some(entry) = self.ledger.showings.get(showing) else { continue };
            if !Table::row(entry.value.kind.as_str()).is_some_and(|row| row.live) {
                continue;
            }
            if !matches!(subject, Subject::Panel(_)) {
                continue;
            }
            for (panel, judged) in &*duty.panels {
                let own = self.verdicts.entry(panel.clone()).or_default();
                own.push((entry.value.computed_check(), judged.verdict));
            }
        }
    }

    fn margins(&self, panel: &str) -> Result<Arc<PanelMargins>, ArticleError> {
        let Some(cell) = self.panels.get(panel) else { return Ok(Arc::default()) };
        cell.get_or_init(|| margins_shared(self.ledger, &self.standing, panel, &self.memo, self.keeps))
            .clone()
    }

    /// Judges a computed showing for one panel; for the programme the panel is empty.
    pub(super) fn judged(
        &self,
        showing: &Entry<Showing>,
        subject: &Subject,
        panel: &str,
    ) -> Result<Judged, ArticleError> {
        let check = showing.value.computed_check();
        let (own, asked) = (check.subject(), subject.kind());
        let mut found = match check {
            // One check never stands in for another: what is asked of the wrong subject shows nothing.
            _ if own != asked => Found {
                lacking: vec![format!("`check: {check}` is computed of a {own}, not of a {asked}")],
                ..Found::default()
            },
            ComputedCheck::Mass => self.mass(&showing.value)?,
            ComputedCheck::TemperatureMargin => self.heat(&showing.value, subject, panel)?,
            ComputedCheck::SectionTorsion => self.torsion(&showing.value, panel)?,
            _ => self.least_margin(check, &showing.value, panel)?,
        };
        let (judged, _) = check.criterion();
        let unjudged = showing.value.accept.keys().into_iter().filter(|key| *key != judged);
        found.lacking.extend(unjudged.map(|key| format!("`check: {check}` does not judge `accept.{key}`")));
        Ok(found.judged())
    }

    fn least_margin(
        &self,
        check: ComputedCheck,
        showing: &Showing,
        panel: &str,
    ) -> Result<Found, ArticleError> {
        let margins = self.margins(panel)?;
        let mut found = Found { assumptions: margins.assumptions.clone(), ..Found::default() };
        let required = match showing.accept.margin_at_least.as_ref().map(plain_number) {
            None => 0.0,
            Some(Some(required)) => required,
            Some(None) => {
                found.lacking.push("`accept.margin_at_least` is no plain number".to_string());
                return Ok(found);
            }
        };
        // What a laminate lacks is told as of its strength, and ends what else is computed of its zone.
        let judged = |lacking: &Uncomputed| {
            let same = |case: &str, place: &str| case == lacking.case && place == lacking.place;
            margins.of(check).any(|margin| same(&margin.case, &margin.place))
                || check == ComputedCheck::Buckling
                    && margins.plates.iter().any(|plate| same(&plate.case, &format!("zone {}", plate.zone)))
        };
        let beside = [ComputedCheck::Sandwich, ComputedCheck::Buckling].contains(&check);
        let beside = margins.lacking(ComputedCheck::Strength).filter(|own| beside && !judged(own));
        for lacking in margins.lacking(check).chain(beside) {
            let case = if lacking.case.is_empty() { String::new() } else { format!("{}, ", lacking.case) };
            found.lacking.push(format!("{case}{}: {}", lacking.place, lacking.why));
        }
        let Some(least) = margins.governing(check) else {
            let nothing = match check {
                ComputedCheck::Buckling => Some("no load case presses or shears the plate"),
                ComputedCheck::Sandwich => Some("no load case presses a face or strains the core"),
                _ => None,
            };
            match nothing {
                _ if !found.lacking.is_empty() => {}
                // All of it was computed, and nothing can buckle or wrinkle.
                Some(words) => (found.holds, found.words) = (true, Some(words.to_string())),
                None => found.lacking.push("no load case of the panel asks for it".to_string()),
            }
            return Ok(found);
        };
        let words = format!(
            "least margin {} ({}) against {}",
            signed(least.margin),
            [least.case.as_str(), &least.place, &least.mode].join(", "),
            signed(required)
        );
        found.holds = least.margin >= required - 1e-9;
        found.words = Some(words);
        found.rest(margins.of(check).flat_map(|margin| &margin.rests).collect());
        Ok(found)
    }

    fn torsion(&self, showing: &Showing, panel: &str) -> Result<Found, ArticleError> {
        let margins = self.margins(panel)?;
        let mut found = Found { assumptions: margins.assumptions.clone(), ..Found::default() };
        let Some(section) = &margins.section else {
            for lacking in margins.lacking(ComputedCheck::Section) {
                found.lacking.push(format!("{}: {}", lacking.place, lacking.why));
            }
            if found.lacking.is_empty() {
                found.lacking.push("the panel has no `section`".to_string());
            }
            return Ok(found);
        };
        let least = showing.accept.at_least.as_ref().and_then(|own| own.number_in("N m2"));
        let Some(least) = least else {
            found.lacking.push("`accept` names no `at_least` in N m2".to_string());
            return Ok(found);
        };
        // What an environment's values leave unknown may be softer than what is known.
        found.lacking.extend(margins.no_section.iter().map(|why| format!("section: {why}")));
        found.holds = section.gj >= least * (1.0 - 1e-9);
        found.words = Some(format!("GJ {} N m2 against {} N m2", digits(section.gj), digits(least)));
        found.rest(section.rests.iter().collect());
        Ok(found)
    }

    fn mass(&self, showing: &Showing) -> Result<Found, ArticleError> {
        let accept = &showing.accept;
        let mut found = Found::default();
        let kg = programme_mass(self.ledger)?;
        match accept.at_most.as_ref().and_then(|own: &Figure| own.number_in("kg")) {
            Some(most) => {
                found.holds = kg <= most * (1.0 + 1e-9);
                found.words = Some(format!("mass {} kg against {} kg", digits(kg), digits(most)));
            }
            None => found.lacking.push("`accept` names no `at_most` in kg".to_string()),
        }
        Ok(found)
    }

    fn heat(&self, showing: &Showing, subject: &Subject, panel: &str) -> Result<Found, ArticleError> {
        let mut found = Found::default();
        let Some(entry) = self.ledger.panels.get(panel) else { return Ok(found) };
        let asked = showing
            .accept
            .above_skin_by
            .as_ref()
            .map_or(crate::finish::WET_GLASS_TRANSITION_MARGIN, |own| own.si());
        let mut least: Option<(f64, String)> = None;
        for zone in &entry.value.zones {
            let own = zone.recipe.as_ref().map(|recipe| {
                Subject::Painted(
                    recipe.id().to_string(),
                    zone.finish.as_ref().map(|own| own.id().to_string()),
                )
            });
            if own.as_ref() != Some(subject) {
                continue;
            }
            let hot = match skin(self.ledger, entry, zone)? {
                Ok(hot) => hot,
                Err(NoSkin::Shaded) => continue,
                Err(NoSkin::Sheet) => continue,
                Err(NoSkin::NoClimate) => {
                    found.lacking.push("ledger.yaml names no `climate`".to_string());
                    continue;
                }
                Err(NoSkin::Refused(words)) => {
                    found.lacking.push(words);
                    continue;
                }
            };
            found.assumptions.extend(hot.assumptions.iter().cloned());
            let limits = super::margins::heat_limits(self.ledger, &self.standing, panel, zone)?;
            for lacking in limits.lacking {
                found.lacking.push(lacking);
            }
            found.rest(limits.rests.iter().collect());
            for limit in limits.known {
                let distance = limit.temperature - hot.ramp - if limit.is_tg { asked } else { 0.0 };
                let words = format!(
                    "{} {:.1} degC, {:.1} K above the ramp skin of {:.1} degC, asked {:.0} K",
                    limit.what,
                    limit.temperature - 273.15,
                    limit.temperature - hot.ramp,
                    hot.ramp - 273.15,
                    if limit.is_tg { asked } else { 0.0 }
                );
                if least.as_ref().is_none_or(|(known, _)| distance < *known) {
                    least = Some((distance, words));
                }
            }
        }
        match least {
            Some((distance, words)) => {
                found.holds = distance >= -1e-9;
                found.words = Some(words);
            }
            None if found.lacking.is_empty() => {
                found.holds = true;
                found.words = Some("no zone of it is heated by the sun".to_string());
            }
            None => {}
        }
        Ok(found)
    }

    /// What w9 says of a panel for one kind of showing; `None` where nothing is computed for it.
    pub(super) fn w9(&'a self, kind: &str, panel: &'a str) -> Result<Option<W9<'a>>, ArticleError> {
        let of = modes_of(kind);
        let Some(own) = self.verdicts.get(panel) else { return Ok(None) };
        // What counts any of the modes that the kind is about.
        let mine: Vec<(ComputedCheck, Verdict)> =
            own.iter().filter(|(check, _)| of.iter().any(|mode| counts(*check, *mode))).copied().collect();
        let w9 =
            |mode: Option<String>, failed| W9 { live: self, panel, mode, failed, kind: kind.to_string() };
        if mine.is_empty() {
            return Ok(None);
        }
        if mine.iter().any(|(_, verdict)| *verdict == Verdict::Failed) {
            return Ok(Some(w9(None, true)));
        }
        let met: Vec<ComputedCheck> =
            mine.iter().filter(|(_, verdict)| verdict.is_closed()).map(|(check, _)| *check).collect();
        if of == [ComputedCheck::SectionTorsion] {
            return Ok((!met.is_empty()).then(|| w9(Some(TORSION.to_string()), false)));
        }
        // The mode that governs has to be among those that a met duty counts.
        let margins = self.margins(panel)?;
        // What can't be computed might govern.
        if margins.uncomputed.iter().any(|one| of.contains(&one.check)) {
            return Ok(None);
        }
        let governing = margins.governing_of(of);
        let covered = governing.filter(|margin| met.iter().any(|check| counts(*check, margin.check)));
        Ok(covered.map(|margin| w9(Some(margin.mode.clone()), false)))
    }
}

/// A number without a unit, or a share.
fn plain_number(own: &Figure) -> Option<f64> {
    if own.unit() == "%" { Some(own.number() / 100.0) } else { own.number_in("") }
}

/// The one mode that a stiffness has.
const TORSION: &str = "torsion";

/// The checks whose least margin says by which mode an article of a kind of showing fails.
fn modes_of(kind: &str) -> &'static [ComputedCheck] {
    match kind {
        "stiffness" => &[ComputedCheck::SectionTorsion],
        "glazing-bond" => &[ComputedCheck::Section, ComputedCheck::Mismatch],
        _ => &[
            ComputedCheck::Strength,
            ComputedCheck::Sandwich,
            ComputedCheck::Buckling,
            ComputedCheck::Section,
        ],
    }
}

/// What a computed showing came to.
#[derive(Default)]
struct Found {
    holds: bool,
    words: Option<String>,
    lacking: Vec<String>,
    rests: Vec<(String, Verdict)>,
    assumptions: Vec<String>,
}

impl Found {
    /// Adds what it rests on and is not met, each once. What is conceded carries it and is said: its values were accepted.
    fn rest(&mut self, mut all: Vec<&Rest>) {
        all.sort();
        for rest in all.into_iter().filter(|rest| rest.verdict != Verdict::Met) {
            let below = super::rests::rested_on(&rest.showing, &rest.subject);
            if !self.rests.iter().any(|(known, _)| *known == below) {
                self.rests.push((below, rest.verdict));
            }
        }
    }

    fn judged(self) -> Judged {
        let mut judged = Judged {
            criterion: self.words.as_deref().map(Phrase::from),
            assumptions: self.assumptions.into_iter().map(Into::into).collect(),
            ..Judged::open()
        };
        let words = self.words.unwrap_or_default();
        let failed = !self.holds && !words.is_empty();
        if failed {
            judged.verdict = Verdict::Failed;
            judged.asks = Asks::None;
            judged.because.push(Reason {
                was: "holds".into(),
                rule: "the criterion does not hold".into(),
                ..note("criterion", &words, Asks::None)
            });
            return judged;
        }
        if !self.lacking.is_empty() {
            for lacking in &self.lacking {
                judged.because.push(note(COMPUTED, &format!("cannot be computed: {lacking}"), Asks::Retest));
            }
            return judged;
        }
        let rests = |verdict: Verdict, below: &str, asks: Asks| Reason {
            was: "met".into(),
            rule: RESTS_ON.into(),
            source: "design values in force".into(),
            ..note(below, verdict.word(), asks)
        };
        if self.rests.iter().any(|(_, verdict)| !verdict.is_closed()) {
            judged.verdict = Verdict::Lapsed;
            judged.asks = Asks::Analysis;
            let open = self.rests.iter().filter(|(_, verdict)| !verdict.is_closed());
            judged.because.extend(open.map(|(below, verdict)| rests(*verdict, below, Asks::Analysis)));
            return judged;
        }
        judged.verdict = Verdict::Met;
        judged.asks = Asks::None;
        judged.because.push(Reason {
            was: "computed".into(),
            rule: "computed and holds".into(),
            ..note("criterion", &words, Asks::None)
        });
        judged.because.extend(self.rests.iter().map(|(below, verdict)| rests(*verdict, below, Asks::None)));
        judged
    }
}

/// Window w9 for one panel: is the computed duty met by the mode that the tested article failed in?
pub(super) struct W9<'a> {
    live: &'a Live<'a>,
    panel: &'a str,
    /// The mode that governs now.
    mode: Option<String>,
    failed: bool,
    kind: String,
}

impl W9<'_> {
    /// Returns the reasons as w9 leaves them; `None` where it changes nothing.
    pub(super) fn settle(
        &self,
        row: &KindRow,
        subject: &Subject,
        reasons: &[Reason],
        (article, evidence): (&AsMade, &Entry<Evidence>),
    ) -> Option<Vec<Reason>> {
        let waits = |reason: &Reason| {
            let ruling = row.ruling(&reason.attribute, None)?;
            let judged = ruling.steps.iter().any(|step| step.conditions().any(is_w9));
            // Only what the last step asks: widened limits, and what is no window's matter, stay.
            let last = ruling.steps.last().map(step_words)?;
            (judged && reason.rule.ends_with(&format!(": {last}"))).then(|| ruling.level())
        };
        if !reasons.iter().any(|reason| waits(reason).is_some()) {
            return None;
        }
        let (holds, words) = if self.failed {
            (false, "window w9: the computed duty fails".to_string())
        } else {
            let now = self.mode.as_deref()?;
            let of = modes_of(&self.kind);
            let then = if now == TORSION {
                Some(TORSION.to_string())
            } else {
                let stated = evidence.value.result.as_ref().and_then(|result| result.mode.as_ref());
                stated.map(ToString::to_string).or_else(|| {
                    let (live, panel) = (self.live, self.panel);
                    let then = AsTested { panel, subject, article };
                    mode_as_tested(live.ledger, &live.standing, &then, of, &live.memo)
                })
            };
            match then {
                Some(then) if then == now => {
                    (true, format!("window w9: the computed duty is met and {now} governs as before"))
                }
                Some(then) => (false, format!("window w9: {now} governs now, {then} as tested")),
                // Unknown is not equal: it stays with the analysis.
                None => return None,
            }
        };
        let settled = reasons.iter().map(|reason| match waits(reason) {
            None => reason.clone(),
            Some(level) => Reason {
                effect: if holds { Asks::None } else { level },
                rule: format!("{} x {}: {words}", self.kind, reason.attribute).into(),
                ..reason.clone()
            },
        });
        Some(settled.collect())
    }
}

#[cfg(test)]
mod tests;
