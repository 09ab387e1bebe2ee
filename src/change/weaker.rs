//! Edits that ask less: a better figure after them is no better design.
//!
//! `ASKED` is the one list of what counts as a requirement, with the way in which it gets less, and why.

use super::diff::{Change, Edits};
use super::explain::record_of;
use crate::ledger::{GATE_RULES, Ledger, gate_level};
use crate::quantity::{Kind, Quantity};
use crate::record::{Address, LedgerHead, RecordKind};
use std::collections::BTreeMap;

/// Standard laboratory temperature in K (23 degC, ISO 291): a test or a load case nearer to it asks less.
const ROOM: f64 = 296.15;

/// In which way a requirement gets less.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Less {
    /// A lower figure; one that is gone too.
    Lower,
    /// A higher figure; one that is gone too.
    Higher,
    /// A figure, or each of several, nearer to nothing.
    Smaller,
    /// A temperature nearer to that of the room.
    Milder,
    /// A word further back in this list, or none.
    Word(&'static [&'static str]),
    /// An entry of a list that is gone.
    Gone,
    /// A later milestone.
    Later,
    /// Anything else than what stood there: whether it asks less is not told by the text alone.
    Other,
}

/// What is asked at a place of a kind of record.
struct Asked {
    kind: RecordKind,
    /// The route without list places; one that ends in `.` counts for all below it.
    attribute: &'static str,
    less: Less,
    /// What it is called.
    what: &'static str,
    /// Why less of it is a weaker requirement.
    why: &'static str,
    /// What holds where nothing is written.
    absent: Option<&'static str>,
}

const fn row(
    kind: RecordKind,
    attribute: &'static str,
    less: Less,
    what: &'static str,
    why: &'static str,
) -> Asked {
    Asked { kind, attribute, less, what, why, absent: None }
}

const SHOWING: RecordKind = RecordKind::Showing;
const PANEL: RecordKind = RecordKind::Panel;
const LEDGER: RecordKind = RecordKind::Ledger;

const FEWER: &str = "fewer specimens know less of the scatter";
const CRITERION: &str = "what passed by the old criterion is no longer asked";
const LESS_LOAD: &str = "margins are of a smaller load";
const FACTOR: &str = "margins are of a load with less safety on it (14 CFR 23.2230, 23.2265)";
const ENVIRONMENT: &str = "it is shown where the material is stronger";
const SHADE: &str = "a skin in the shade is asked to stand a cooler day";
const DESIGN_DAY: &str = "skins are asked to stand a cooler day";
const SCOPE: &str = "what it is asked of, or what shows it, is another";
const LEVEL: &str = "the confidence behind a design value is another";
const BUDGET: &str = "more mass passes";

/// Everything that counts as a requirement. What a part of the aircraft is made of never does; what it has to stand, how
/// sure that must be, and what it may weigh does.
const ASKED: [Asked; 64] = [
    row(SHOWING, "", Less::Gone, "the showing", "nothing is asked any more"),
    row(SHOWING, "plan.specimens", Less::Lower, "the number of specimens", FEWER),
    row(SHOWING, "plan.batches", Less::Lower, "the number of batches", FEWER),
    row(SHOWING, "plan.panels_per_batch", Less::Lower, "the number of panels of a batch", FEWER),
    row(SHOWING, "plan.equivalence.specimens", Less::Lower, "the specimens of an equivalence", FEWER),
    row(SHOWING, "plan.equivalence.panels", Less::Lower, "the panels of an equivalence", FEWER),
    row(SHOWING, "plan.conditioning.to", Less::Lower, "the moisture conditioned to", ENVIRONMENT),
    row(
        SHOWING,
        "plan.readings",
        Less::Gone,
        "the readings of a trial",
        "change between the readings left is not seen",
    ),
    row(
        SHOWING,
        "accept.basis",
        Less::Word(&["A", "B"]),
        "the basis",
        "B holds for 90 % where A holds for 99 %, both at 95 % confidence (CMH-17-1G)",
    ),
    row(SHOWING, "accept.at_least", Less::Lower, "the least value", CRITERION),
    row(SHOWING, "accept.mean_at_least", Less::Lower, "the least mean", CRITERION),
    row(SHOWING, "accept.all_at_least", Less::Lower, "the least single value", CRITERION),
    row(SHOWING, "accept.rating_at_least", Less::Lower, "the least rating", CRITERION),
    row(SHOWING, "accept.margin_at_least", Less::Lower, "the least margin", CRITERION),
    row(
        SHOWING,
        "accept.above_skin_by",
        Less::Lower,
        "the distance of the wet glass transition above the skin",
        CRITERION,
    ),
    row(SHOWING, "accept.at_most", Less::Higher, "the greatest value", CRITERION),
    row(SHOWING, "accept.mean_at_most", Less::Higher, "the greatest mean", CRITERION),
    row(SHOWING, "accept.all_at_most", Less::Higher, "the greatest single value", CRITERION),
    row(SHOWING, "accept.statement", Less::Other, "the statement asked for", CRITERION),
    row(SHOWING, "accept.readings.", Less::Other, "the limits on readings", CRITERION),
    row(SHOWING, "environment.temperature", Less::Milder, "the test temperature", ENVIRONMENT),
    row(SHOWING, "environment.", Less::Other, "the environment", ENVIRONMENT),
    row(SHOWING, "statistics.", Less::Other, "a level of the statistics", LEVEL),
    row(SHOWING, "normalise.", Less::Other, "what values are normalised to", LEVEL),
    row(SHOWING, "rests_on", Less::Gone, "what it rests on", "it is met without what it leaned on"),
    row(SHOWING, "needed_by", Less::Later, "the milestone that needs it", "a later milestone asks it later"),
    row(SHOWING, "applies_to.", Less::Other, "what it is asked of", SCOPE),
    row(SHOWING, "means", Less::Other, "the means of compliance", SCOPE),
    row(
        SHOWING,
        "clause",
        Less::Gone,
        "the clause that it answers",
        "it no longer shows compliance with that",
    ),
    row(SHOWING, "after", Less::Gone, "what it waits for", "it may be shown before that"),
    row(SHOWING, "subject", Less::Other, "its subject", SCOPE),
    row(SHOWING, "kind", Less::Other, "its kind", SCOPE),
    row(SHOWING, "check", Less::Other, "what is computed for it", SCOPE),
    row(
        SHOWING,
        "sensitivity.",
        Less::Other,
        "its own rows of the sensitivity table",
        "changes that asked a test may ask none",
    ),
    row(PANEL, "", Less::Gone, "the panel", "nothing is asked of it any more"),
    Asked {
        absent: Some("1"),
        ..row(PANEL, "loads.factor", Less::Lower, "the factor on limit load", FACTOR)
    },
    Asked {
        absent: Some("1"),
        ..row(PANEL, "loads.special_factor", Less::Lower, "the special factor", FACTOR)
    },
    row(PANEL, "loads.pressure", Less::Smaller, "the pressure of a load case", LESS_LOAD),
    row(PANEL, "loads.N", Less::Smaller, "the line loads of a load case", LESS_LOAD),
    row(PANEL, "loads.M", Less::Smaller, "the moments of a load case", LESS_LOAD),
    row(PANEL, "loads.temperature", Less::Milder, "the temperature of a load case", ENVIRONMENT),
    row(PANEL, "loads", Less::Gone, "a load case", LESS_LOAD),
    row(PANEL, "section.loads.", Less::Smaller, "a load of the section", LESS_LOAD),
    row(PANEL, "design_strain.", Less::Higher, "a design strain", "plies may be strained further"),
    row(
        PANEL,
        "class",
        Less::Word(&["structural", "non-structural"]),
        "the class of the panel",
        "fewer showings are asked of what nothing relies on",
    ),
    row(
        PANEL,
        "load_path",
        Less::Word(&["single", "redundant"]),
        "the load path",
        "a redundant one is asked the B-basis, a single one the A-basis (CMH-17-1G)",
    ),
    row(
        PANEL,
        "joints.role",
        Less::Other,
        "the role of a joint",
        "a bond that carries nothing is asked less",
    ),
    row(
        PANEL,
        "joints.route",
        Less::Other,
        "how a bond is shown",
        "14 CFR 23.573(a)(5) has three ways, none of which stands for another",
    ),
    row(PANEL, "exposure.minimum", Less::Milder, "the lowest temperature", ENVIRONMENT),
    row(PANEL, "exposure.sun", Less::Word(&["true", "false"]), "the sun on it", SHADE),
    row(PANEL, "exposure.", Less::Other, "the exposure", ENVIRONMENT),
    row(PANEL, "zones.exposure.minimum", Less::Milder, "the lowest temperature of a zone", ENVIRONMENT),
    row(PANEL, "zones.exposure.sun", Less::Word(&["true", "false"]), "the sun on a zone", SHADE),
    row(PANEL, "zones.exposure.", Less::Other, "the exposure of a zone", ENVIRONMENT),
    row(PANEL, "balance.limit", Less::Higher, "the limit of the balance", "flutter asks a balanced surface"),
    row(RecordKind::Assembly, "budget", Less::Higher, "the budget", BUDGET),
    row(LEDGER, "budgets.", Less::Higher, "a budget", BUDGET),
    row(LEDGER, "climate.ambient", Less::Lower, "the air temperature of the design day", DESIGN_DAY),
    row(LEDGER, "climate.irradiance", Less::Lower, "the sunlight of the design day", DESIGN_DAY),
    row(LEDGER, "climate.", Less::Other, "the design day", DESIGN_DAY),
    row(LEDGER, "statistics.", Less::Other, "a level of the statistics", LEVEL),
    row(LEDGER, "growth.", Less::Lower, "an allowance for growth", "less is kept for what is not known yet"),
    row(
        LEDGER,
        "weighing.",
        Less::Higher,
        "what weighings are held to",
        "a piece further off its prediction passes",
    ),
    row(LEDGER, "approvals.", Less::Other, "who approves", "a change needs fewer people, or others"),
];

/// One edit that asks less, or may.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weaker {
    /// `kind/id#route`, with list places.
    pub address: String,
    /// What is asked there, such as `the factor on limit load`.
    pub what: &'static str,
    /// As it was.
    pub was: Option<String>,
    /// As it is.
    pub is: Option<String>,
    /// Why less of it is a weaker requirement.
    pub why: &'static str,
    /// Whether it surely asks less; else it asks something else, and the text alone does not tell whether less.
    pub certain: bool,
}

impl Weaker {
    /// Returns it in words: what, where, from and to.
    pub fn words(&self) -> String {
        let (was, is) = (self.was.as_deref().unwrap_or("nothing"), self.is.as_deref());
        let how = match (is, self.certain) {
            (Some(is), true) => format!("goes from {was} to {is}, which asks less"),
            (Some(is), false) => format!("goes from {was} to {is}, which may ask less"),
            (None, true) => "is gone".to_string(),
            (None, false) => format!("goes from {was} to nothing, which may ask less"),
        };
        format!("{} ({}) {how}: {}", self.what, self.address, self.why)
    }
}

/// Finds the edits between two ledgers that ask less, in their order.
pub fn weaker(edits: &Edits, (base, head): (&Ledger, &Ledger)) -> Vec<Weaker> {
    // A list of milestones that was itself edited orders nothing.
    let milestones = |ledger: &Ledger| ledger.head.as_ref().map(|head| head.milestones.clone());
    let order = (milestones(base) == milestones(head)).then_some(head);
    let beside = |change: &&Change| change.attribute != "policy" && !change.attribute.starts_with("policy.");
    let own = edits.changes.iter().filter(beside);
    let mut all: Vec<Weaker> = own.filter_map(|change| weaker_by(change, &edits.renamed, order)).collect();
    if let (Some(base), Some(head)) = (&base.head, &head.head) {
        all.extend(weaker_policy(base, head));
    }
    all.sort_by(|one, two| one.address.cmp(&two.address));
    all
}

/// Rules of the gate that let more pass.
fn weaker_policy(base: &LedgerHead, head: &LedgerHead) -> impl Iterator<Item = Weaker> {
    GATE_RULES.iter().filter_map(move |(rule, _)| {
        let (was, is) = (gate_level(Some(base), rule), gate_level(Some(head), rule));
        (is > was).then(|| Weaker {
            address: format!("ledger#policy.{rule}"),
            what: "the policy of the gate",
            was: Some(was.word().to_string()),
            is: Some(is.word().to_string()),
            why: "the gate lets more pass",
            certain: true,
        })
    })
}

/// The kind of record that the texts at a place of a showing name.
fn names_of(attribute: &str) -> Option<RecordKind> {
    Some(match attribute {
        "applies_to.recipe" => RecordKind::Recipe,
        "applies_to.material" => RecordKind::Material,
        "applies_to.panel" => PANEL,
        "rests_on" | "after" => SHOWING,
        _ => return None,
    })
}

/// Whether the edit writes only new names of what was renamed: that asks the same.
fn is_renaming(change: &Change, renamed: &BTreeMap<(RecordKind, String), String>) -> bool {
    let (Some(was), Some(is)) = (change.was.as_deref(), change.is.as_deref()) else { return false };
    if change.attribute.is_empty() {
        let address = Address::parse(was).zip(Address::parse(is));
        return address.is_some_and(|(was, is)| {
            renamed.get(&(was.kind(), was.id().to_string())).is_some_and(|new| *new == *is.id())
        });
    }
    let Some(kind) = names_of(&change.attribute) else { return false };
    let called = |name: &str| renamed.get(&(kind, name.to_string())).map_or(name, String::as_str).to_string();
    let (was, is) = (entries(was), entries(is));
    was.len() == is.len() && was.iter().zip(is).all(|(was, is)| called(was) == is)
}

fn weaker_by(
    change: &Change,
    renamed: &BTreeMap<(RecordKind, String), String>,
    order: Option<&Ledger>,
) -> Option<Weaker> {
    if is_renaming(change, renamed) {
        return None;
    }
    let kind = match record_of(&change.address) {
        "ledger" => RecordKind::Ledger,
        other => Address::parse(other)?.kind(),
    };
    let counts = |own: &&Asked| {
        let below = own.attribute.strip_suffix('.').is_some_and(|base| {
            change.attribute.strip_prefix(base).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
        });
        own.kind == kind && (own.attribute == change.attribute || below)
    };
    // The first that fits: particular places stand before what is above them.
    let own = ASKED.iter().find(counts)?;
    let (was, is) = (change.was.as_deref().or(own.absent), change.is.as_deref().or(own.absent));
    let certain = match own.less {
        Less::Later => later(was, is, order)?,
        other => other.than(was, is)?,
    };
    Some(Weaker {
        address: change.address.clone(),
        what: own.what,
        was: was.map(str::to_string),
        is: is.map(str::to_string),
        why: own.why,
        certain,
    })
}

/// Whether a milestone is later than another in a ledger's order: `None` where it is not, else whether that is sure. What
/// names none is needed always.
fn later(was: Option<&str>, is: Option<&str>, order: Option<&Ledger>) -> Option<bool> {
    let is = is?;
    let place = |text| order?.milestone(Some(text));
    match (was.map(place), place(is)) {
        (None, Some(_)) => Some(true),
        (Some(Some(was)), Some(is)) => (is > was).then_some(true),
        _ => Some(false),
    }
}

impl Less {
    /// Whether `is` asks less than `was`: `None` where it does not, else whether that is sure.
    fn than(self, was: Option<&str>, is: Option<&str>) -> Option<bool> {
        // Where nothing was asked before, whatever is asked is more; only words of another kind are in doubt.
        let Some(was) = was else { return (self == Less::Other).then_some(false) };
        let Some(is) = is else { return Some(self != Less::Other) };
        let asks_less = |fewer: &dyn Fn(f64, f64) -> bool| match both(was, is) {
            Some((was, is)) if fewer(was, is) => Some(true),
            Some(_) => None,
            None => Some(false),
        };
        match self {
            Less::Lower => asks_less(&|was, is| is < was),
            Less::Higher => asks_less(&|was, is| is > was),
            Less::Milder => {
                let above = |text: &str| Some(Quantity::parse(Kind::Temperature, text).ok()?.si() - ROOM);
                match (above(was), above(is)) {
                    // Hot where it was cold is another question.
                    (Some(was), Some(is)) if was * is < 0.0 => Some(false),
                    (Some(was), Some(is)) => (is.abs() < was.abs()).then_some(true),
                    _ => Some(false),
                }
            }
            Less::Smaller => {
                let (was, is) = (entries(was), entries(is));
                let pairs: Option<Vec<(f64, f64)>> = (was.len() == is.len())
                    .then(|| was.iter().zip(&is).map(|(was, is)| both(was, is)).collect())
                    .flatten();
                let Some(pairs) = pairs else { return Some(false) };
                // One that changes its sign is another load.
                let turned = pairs.iter().any(|(was, is)| was * is < 0.0);
                let less = pairs.iter().any(|(was, is)| is.abs() < was.abs());
                let more = pairs.iter().any(|(was, is)| is.abs() > was.abs());
                (turned || less).then_some(!turned && !more)
            }
            Less::Word(order) => {
                let place = |text: &str| order.iter().position(|own| *own == text);
                match (place(was), place(is)) {
                    (Some(was), Some(is)) => (is > was).then_some(true),
                    _ => Some(false),
                }
            }
            Less::Gone => {
                let is = entries(is);
                entries(was).iter().any(|one| !is.contains(one)).then_some(true)
            }
            // Their order is the ledger's.
            Less::Later | Less::Other => Some(false),
        }
    }
}

/// The entries of a list as it is written in an edit; of anything else itself.
fn entries(text: &str) -> Vec<&str> {
    let inside = text.strip_prefix('[').and_then(|text| text.strip_suffix(']'));
    inside.map_or_else(|| vec![text], |inside| inside.split(',').map(str::trim).collect())
}

/// Two figures in one measure: in SI where a kind of quantity takes both, else bare or in the same unit.
fn both(was: &str, is: &str) -> Option<(f64, f64)> {
    let of =
        |kind: &Kind| Some((Quantity::parse(*kind, was).ok()?.si(), Quantity::parse(*kind, is).ok()?.si()));
    let (old, new) = (was.trim().parse::<f64>(), is.trim().parse::<f64>());
    if let (Ok(old), Ok(new)) = (old, new) {
        return Some((old, new));
    }
    Kind::ALL.iter().find_map(of).or_else(|| {
        let ((old, own), (new, unit)) =
            (crate::qualify::delta::number(was)?, crate::qualify::delta::number(is)?);
        (own == unit).then(|| (old.to_f64(), new.to_f64()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn change(address: &str, attribute: &str, was: Option<&str>, is: Option<&str>) -> Change {
        let text = |own: Option<&str>| own.map(str::to_string);
        Change {
            address: address.to_string(),
            attribute: attribute.to_string(),
            was: text(was),
            is: text(is),
            facet: None,
            class: None,
        }
    }

    /// Whether the edit asks less: `None` no, else how sure.
    fn asked(kind: &str, attribute: &str, was: &str, is: &str) -> Option<bool> {
        let some = |text: &'static str| Some(text).filter(|text| !text.is_empty());
        let (was, is) =
            (Box::leak(was.to_string().into_boxed_str()), Box::leak(is.to_string().into_boxed_str()));
        let edit = change(&format!("{kind}#x"), attribute, some(was), some(is));
        let order = "ledger: {format: 1, programme: Sanderling (invented), milestones: [first-article, first-flight, production]}";
        weaker_by(&edit, &renamed(), Some(&crate::article::fixture::ledger(order))).map(|own| own.certain)
    }

    #[test]
    fn what_no_policy_names_is_at_its_built_in_level() {
        let of = |policy: &str| {
            crate::article::fixture::ledger(&format!(
                "ledger: {{format: 1, programme: Sanderling (invented){policy}}}\n"
            ))
        };
        let told = |was: &str, is: &str| {
            let (was, is) = (of(was), of(is));
            let found = weaker(&super::super::diff::diff(&was, &is), (&was, &is));
            found.iter().map(Weaker::words).collect::<Vec<_>>()
        };
        let strict = ", policy: {expired-concession: block, lapsed-evidence: block}";
        assert_eq!(told(", policy: {expired-concession: block}", ""), [""; 0]);
        assert_eq!(told("", strict), [""; 0]);
        assert_eq!(
            told(strict, ""),
            [
                "the policy of the gate (ledger#policy.lapsed-evidence) goes from block to warn, which asks less: the gate lets more pass"
            ]
        );
        assert_eq!(told("", ", policy: {unqualified-recipe: off, unexplained-change: off}").len(), 2);
    }

    fn renamed() -> BTreeMap<(RecordKind, String), String> {
        [RecordKind::Recipe, PANEL].map(|kind| ((kind, "old".to_string()), "new".to_string())).into()
    }

    #[test]
    fn a_new_name_asks_no_less_and_milestones_have_an_order() {
        let some = |text: &'static str| (!text.is_empty()).then_some(text);
        let called = |was, is| {
            weaker_by(&change("panel/new", "", some(was), some(is)), &renamed(), None).map(|own| own.certain)
        };
        assert_eq!(called("panel/old", "panel/new"), None);
        assert_eq!(called("panel/old", ""), Some(true));
        // A material of that name was not renamed.
        assert_eq!(asked("showing/s", "applies_to.material", "[old]", "[new]"), Some(false));
        assert_eq!(asked("showing/s", "applies_to.recipe", "[old, b]", "[new, b]"), None);
        assert_eq!(asked("showing/s", "applies_to.recipe", "[old, b]", "[new, c]"), Some(false));
        assert_eq!(asked("showing/s", "needed_by", "first-flight", "production"), Some(true));
        assert_eq!(asked("showing/s", "needed_by", "first-flight", "first-article"), None);
        assert_eq!(asked("showing/s", "needed_by", "first-flight", ""), None);
        assert_eq!(asked("showing/s", "needed_by", "", "production"), Some(true));
        assert_eq!(asked("showing/s", "needed_by", "first-flight", "someday"), Some(false));
        assert_eq!(asked("showing/s", "clause", "[CS 23.2260, CS 23.2240]", "CS 23.2260"), Some(true));
    }

    #[test]
    fn what_asks_less_is_told_and_what_asks_more_is_not() {
        let sure = Some(true);
        assert_eq!(asked("panel/p", "loads.factor", "1.5", "1.0"), sure);
        assert_eq!(asked("panel/p", "loads.factor", "1.5", ""), sure);
        assert_eq!(asked("panel/p", "loads.factor", "", "1.0"), None);
        assert_eq!(asked("panel/p", "loads.factor", "1.5", "2.0"), None);
        assert_eq!(asked("panel/p", "loads.pressure", "9 kPa", "0.008 MPa"), sure);
        assert_eq!(asked("panel/p", "loads.pressure", "-9 kPa", "-10 kPa"), None);
        assert_eq!(
            asked("panel/p", "loads.N", "[10 kN/m, -5 kN/m, 0 N/m]", "[10 kN/m, -4 kN/m, 0 N/m]"),
            sure
        );
        assert_eq!(asked("panel/p", "loads.N", "[10 kN/m, -5 kN/m]", "[11 kN/m, -4 kN/m]"), Some(false));
        assert_eq!(asked("panel/p", "loads.temperature", "82 degC", "70 degC"), sure);
        assert_eq!(asked("panel/p", "loads.temperature", "-40 degC", "-54 degC"), None);
        assert_eq!(asked("panel/p", "load_path", "single", "redundant"), sure);
        assert_eq!(asked("panel/p", "class", "structural", "non-structural"), sure);
        assert_eq!(asked("panel/p", "zones.recipe", "a", "b"), None);
        assert_eq!(asked("showing/s", "plan.specimens", "18", "1"), sure);
        assert_eq!(asked("showing/s", "plan.specimens", "18", "30"), None);
        assert_eq!(asked("showing/s", "accept.basis", "A", "B"), sure);
        assert_eq!(asked("showing/s", "accept.at_least", "520 MPa", "0.51 GPa"), sure);
        assert_eq!(asked("showing/s", "accept.at_most", "2.5 mohm", "3 mohm"), sure);
        assert_eq!(asked("showing/s", "environment.temperature", "82 degC", "71 degC"), sure);
        assert_eq!(asked("showing/s", "environment.temperature", "-55 degC", "-40 degC"), sure);
        assert_eq!(asked("showing/s", "environment.moisture", "equilibrium", "as-fabricated"), Some(false));
        assert_eq!(asked("showing/s", "rests_on", "[wet-tg, modulus]", "[wet-tg]"), sure);
        assert_eq!(asked("showing/s", "rests_on", "[wet-tg]", "[wet-tg, modulus]"), None);
        assert_eq!(asked("showing/s", "plan.cost", "90 EUR", "80 EUR"), None);
        assert_eq!(asked("ledger", "climate.ambient", "43 degC", "35 degC"), sure);
        assert_eq!(asked("ledger", "statistics.batches", "2.5 %", "1 %"), Some(false));
        assert_eq!(asked("assembly/a", "budget", "30 kg", "31 kg"), sure);
        assert_eq!(asked("recipe/r", "layers.thickness", "6 mm", "5 mm"), None);
    }
}
