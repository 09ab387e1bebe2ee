//! Rules on showings, evidence and concessions.

use super::known::{Known, entry};
use super::ranges::{PART, POSITIVE, TEMPERATURE, count, money, number, within};
use super::sink::{At, Sink};
use super::words::{
    FACETS, KNOWN_SHOWING_KINDS, is_attribute, is_conceded, is_facet_or_attribute, showing_kind, suggest,
};
use super::{Entry, Ledger, approvals, normalise, plausible, serials, subjects, trial};
use crate::article::ORDER;
use crate::record::sensitivity::steps_fault;
use crate::record::{
    Accept, AppliesTo, Approval, AttributeValue, ComputedCheck, Concession, Covered, Covers, Evidence,
    EvidenceKind, EvidenceState, Figure, Plan, RecordKind, Showing, ShowingRef, SubjectKind, SubjectLabel,
};
use std::collections::BTreeMap;

pub(super) fn showing(known: Known<'_>, sink: &mut Sink, own: &Entry<Showing>) {
    let showing = &*own.value;
    kind(sink, showing);
    if let Some(applies) = &showing.applies_to {
        applies_to(known, sink, applies);
    }
    known.milestone(sink, "needed_by", showing.needed_by.as_ref());
    showings(known, sink, "after", &showing.after);
    showings(known, sink, "rests_on", &showing.rests_on);
    if showing.kind.as_str() == "computed" {
        computed(sink, showing)
    } else {
        accept(sink, showing)
    }
    trial::showing(sink, showing);
    let temperature = showing.environment.as_ref().and_then(|environment| environment.temperature.as_deref());
    within(sink, TEMPERATURE, "environment.temperature", temperature);
    plausible::tested(sink, "environment.temperature", temperature);
    super::levels::statistics(sink, showing.statistics.as_ref());
    normalise::showing(sink, showing);
    if let Some(values) = &showing.plan {
        let head = known.ledger.head.as_ref();
        plan(sink, values, head.and_then(|head| head.currency.as_ref()).map(|text| text.as_str()));
    }
    for key in showing.sensitivity.keys().filter(|key| !is_facet_or_attribute(key)) {
        let raised = sink.error(
            "unknown-facet",
            At::Key(format!("sensitivity.{key}")),
            format!("`{key}` is neither a facet nor an attribute of one"),
        );
        raised.label("unknown facet");
        raised.help(facet_help(key));
    }
    for (key, steps) in &showing.sensitivity {
        if let Some(fault) = steps_fault(steps) {
            sink.error("bad-steps", format!("sensitivity.{key}"), fault)
                .label("steps out of order")
                .help("put the step without a condition last; the steps are tried in order");
        } else if steps.is_empty() {
            sink.error("bad-steps", format!("sensitivity.{key}"), format!("`{key}` has no steps"))
                .label("no steps")
                .help("write for example `[{within: 5 %, asks: none}, {asks: retest}]`");
        }
    }
}

fn kind(sink: &mut Sink, showing: &Showing) {
    let word = showing.kind.as_str();
    let Some(kind) = showing_kind(word) else {
        let raised = sink.error("unknown-showing-kind", "kind", format!("`{word}` is no kind of showing"));
        raised.label("unknown kind");
        let all = KNOWN_SHOWING_KINDS.iter().map(|kind| kind.word);
        let help = suggest(word, all.clone());
        raised.help(help.unwrap_or_else(|| format!("there are: {}", all.collect::<Vec<_>>().join(", "))));
        return;
    };
    if showing.check.is_some() && word != "computed" {
        sink.error(
            "check-not-computed",
            "check",
            format!("a showing of kind `{word}` is proved, not computed"),
        )
        .label("only with `kind: computed`")
        .help("take `check` out, or write `kind: computed`");
    }
    if let Some(subject) =
        showing.subject.filter(|subject| *subject != kind.own && !kind.also.contains(subject))
    {
        let mut allowed = vec![kind.own.word()];
        allowed.extend(kind.also.iter().map(|also| also.word()));
        sink.error(
            "wrong-subject",
            "subject",
            format!("a showing of kind `{word}` can't be about a {subject}"),
        )
        .label("wrong subject")
        .help(format!("write one of: {}", allowed.join(", ")));
    }
}

/// What a check is asked of, and the one criterion that it judges: another would pass unseen.
fn computed(sink: &mut Sink, showing: &Showing) {
    let check = showing.computed_check();
    let own = check.subject();
    let allowed = [SubjectKind::Panel, SubjectKind::Programme, SubjectKind::Painted];
    if let Some(subject) = showing.subject.filter(|subject| *subject != own && allowed.contains(subject)) {
        sink.error(
            "wrong-subject",
            "subject",
            format!("`check: {check}` is computed of a {own}, not of a {subject}"),
        )
        .label("wrong subject")
        .help(format!("write `subject: {own}`, or take `subject` out"));
    }
    let accept = &showing.accept;
    let (key, unit) = check.criterion();
    for other in accept.keys().into_iter().filter(|other| *other != key) {
        sink.error(
            "criterion-not-computed",
            At::Key(format!("accept.{other}")),
            format!("`check: {check}` does not judge `{other}`"),
        )
        .label("not judged")
        .help(format!("write `{key}`, which is what it judges"));
    }
    let figure = match check {
        ComputedCheck::Mass => accept.at_most.as_ref(),
        ComputedCheck::SectionTorsion => accept.at_least.as_ref(),
        ComputedCheck::TemperatureMargin => None,
        _ => accept.margin_at_least.as_ref(),
    };
    let fault = match (figure, unit) {
        (None, Some(unit)) => {
            Some(("accept".to_string(), format!("`check: {check}` needs `{key}` in {unit}")))
        }
        (Some(figure), Some(unit)) if figure.number_in(unit).is_none() => {
            Some((format!("accept.{key}"), format!("`check: {check}` needs `{key}` in {unit}")))
        }
        (Some(figure), None) if figure.unit() != "%" && figure.number_in("").is_none() => {
            Some((format!("accept.{key}"), "a margin is a plain number".to_string()))
        }
        _ => None,
    };
    if let Some((at, fault)) = fault {
        let unit = unit.map_or(String::new(), |unit| format!(" {unit}"));
        sink.error("criterion-not-computed", at, fault).label("no criterion for it").help(format!(
            "write for example `accept: {{{key}: {}{unit}}}`",
            if unit.is_empty() { "0" } else { "120" }
        ));
    }
}

fn facet_help(key: &str) -> String {
    let head = key.split('.').next().unwrap_or_default();
    match FACETS.iter().find(|(facet, _)| *facet == head) {
        Some((facet, [])) => format!("`{facet}` has one value: write `{facet}`"),
        Some((facet, attributes)) => format!("write `{facet}`, or {facet} with .{}", attributes.join(", .")),
        None => {
            let whole = FACETS
                .iter()
                .flat_map(|(facet, own)| own.iter().map(move |attribute| format!("{facet}.{attribute}")))
                .collect::<Vec<_>>();
            let facets = || FACETS.iter().map(|(facet, _)| *facet);
            let named = if key.contains('.') { suggest(key, whole.iter().map(String::as_str)) } else { None };
            named
                .or_else(|| suggest(head, facets()))
                .unwrap_or_else(|| format!("write one of {}", facets().collect::<Vec<_>>().join(", ")))
        }
    }
}

/// As [`facet_help`], of keys that name attributes of an article, with the constituent that each is of.
fn attribute_help(key: &str) -> String {
    let head = key.split('.').next().unwrap_or_default();
    let own = || ORDER.iter().copied().filter(|one| one.split('.').next() == Some(head));
    match suggest(key, own()).filter(|help| help.starts_with("did you mean")) {
        Some(help) => format!(
            "{help} Of a constituent or a zone its letter stands behind it, as `bondline why` shows it"
        ),
        None if own().next().is_some() => format!("there are: {}", own().collect::<Vec<_>>().join(", ")),
        None => facet_help(key),
    }
}

fn applies_to(known: Known<'_>, sink: &mut Sink, applies: &AppliesTo) {
    let ledger = known.ledger;
    for (index, material) in applies.material.iter().enumerate() {
        let at = one_or_many("applies_to.material", applies.material.0.len(), index);
        known.find(sink, at, &ledger.materials, RecordKind::Material, material.id());
    }
    for (index, recipe) in applies.recipe.iter().enumerate() {
        let at = one_or_many("applies_to.recipe", applies.recipe.0.len(), index);
        known.find(sink, at, &ledger.recipes, RecordKind::Recipe, recipe.id());
    }
    for (index, panel) in applies.panel.iter().enumerate() {
        let at = one_or_many("applies_to.panel", applies.panel.0.len(), index);
        known.find(sink, at, &ledger.panels, RecordKind::Panel, panel.id());
    }
}

// A single entry may stand without a list around it, so only several have places for certain.
pub(super) fn one_or_many(list: &str, len: usize, index: usize) -> String {
    if len == 1 { list.to_string() } else { entry(list, index, "") }
}

fn showings(known: Known<'_>, sink: &mut Sink, list: &str, showings: &[ShowingRef]) {
    for (index, showing) in showings.iter().enumerate() {
        known.find(sink, entry(list, index, ""), &known.ledger.showings, RecordKind::Showing, showing.id());
    }
}

fn accept(sink: &mut Sink, showing: &Showing) {
    let Accept {
        basis,
        at_least,
        at_most,
        mean_at_least,
        mean_at_most,
        all_at_least,
        all_at_most,
        rating_at_least,
        margin_at_least,
        above_skin_by,
        statement,
        readings,
    } = &showing.accept;
    rated(sink, "accept.rating_at_least", showing.kind.as_str(), rating_at_least.as_ref());
    let mean = mean_at_least.is_some() || mean_at_most.is_some();
    let other = [at_least, at_most, all_at_least, all_at_most, rating_at_least, margin_at_least]
        .iter()
        .any(|figure| figure.is_some())
        || above_skin_by.is_some()
        || statement.is_some()
        || !readings.is_empty();
    if !mean && !other {
        let what =
            if basis.is_some() { "a basis alone is no criterion" } else { "`accept` has no criterion" };
        sink.error("empty-criterion", "accept", what).label("no criterion").help(
            "write at least one, for example `at_least: 520 MPa`, `rating_at_least: 4`, `statement: true`",
        );
    }
    if mean && !other && basis.is_none() && showing.kind.as_str().starts_with("lamina-strength-") {
        sink.warning(
            "basis-not-asked",
            "accept",
            "a strength that is accepted on its mean stays so, whatever load path relies on it",
        )
        .label("mean only")
        .help("write `basis: B` or `basis: A` with `at_least`, so that the load path can raise it");
    }
}

/// The best rating there is: 5 of adhesion (ASTM D3359, from memory), 10 of the scales of paint else (such as ASTM D714).
fn best_rating(kind: &str) -> f64 {
    if kind == "paint-adhesion" { 5.0 } else { 10.0 }
}

fn rated(sink: &mut Sink, at: &str, kind: &str, rating: Option<&Figure>) {
    let best = best_rating(kind);
    let Some(rating) = rating.filter(|own| !own.number_in("").is_some_and(|own| (0.0..=best).contains(&own)))
    else {
        return;
    };
    let message = format!("`{}` is no rating: of {kind} it goes from {best} (best) to 0", rating.text());
    sink.error("out-of-range", at, message)
        .label("no rating")
        .help(format!("write a plain number from {best} to 0"));
}

fn plan(sink: &mut Sink, plan: &Plan, currency: Option<&str>) {
    count(sink, "plan.batches", plan.batches, 1);
    count(sink, "plan.panels_per_batch", plan.panels_per_batch, 1);
    count(sink, "plan.specimens", plan.specimens, 1);
    count(sink, "plan.specimens_per_panel", plan.specimens_per_panel, 1);
    let equivalence = plan.equivalence.as_ref();
    count(sink, "plan.equivalence.specimens", equivalence.and_then(|plan| plan.specimens), 1);
    count(sink, "plan.equivalence.panels", equivalence.and_then(|plan| plan.panels), 1);
    number(sink, "plan.weeks", plan.weeks, 0.0, true);
    number(sink, "plan.analysis_weeks", plan.analysis_weeks, 0.0, true);
    number(sink, "plan.lead", plan.lead, 0.0, true);
    number(sink, "plan.layup", plan.layup, 0.0, true);
    number(sink, "plan.lab_weeks", plan.lab_weeks, 0.0, true);
    money(sink, "plan.cost", plan.cost.as_ref(), currency);
    super::design::extra(sink, "plan.spares", plan.spares.as_deref());
    if let Some(conditioning) = &plan.conditioning {
        // Full equilibrium is never reached in a finite time.
        within(sink, PART, "plan.conditioning.to", Some(&conditioning.to));
        within(sink, POSITIVE, "plan.conditioning.coupon_thickness", Some(&conditioning.coupon_thickness));
    }
}

pub(super) fn evidence(known: Known<'_>, sink: &mut Sink, own: &Entry<Evidence>) {
    let evidence = &*own.value;
    let ledger = known.ledger;
    known.find(sink, "showing", &ledger.showings, RecordKind::Showing, evidence.showing.id());
    // What was tested may be gone from the ledger; its configuration is what then speaks for it.
    subject(known, sink, &evidence.subject, evidence.conformed.is_none());
    if let Some(baseline) = &evidence.baseline {
        baseline_stands(known, sink, evidence, baseline.id());
    } else if evidence.state == EvidenceState::Done
        && matches!(evidence.kind, EvidenceKind::Equivalence | EvidenceKind::Similarity)
    {
        sink.error(
            "missing-baseline",
            "kind",
            format!("finished evidence of kind {} extends other evidence", evidence.kind),
        )
        .label("extends nothing")
        .help("write the `baseline` that it extends: the id of a test of the same showing");
    }
    if let Some(supersedes) = &evidence.supersedes {
        known.find(sink, "supersedes", &ledger.evidence, RecordKind::Evidence, supersedes.id());
    }
    if evidence.state == EvidenceState::Done && evidence.data.is_none() && evidence.result.is_none() {
        sink.warning("no-result", "state", "it is done, but has neither data nor a result")
            .label("nothing recorded")
            .help("write `data: FILE.csv` or a `result`");
    }
    if let Some(showing) = ledger.showings.get(evidence.showing.id()) {
        let rating = evidence.result.as_ref().and_then(|result| result.rating.as_ref());
        rated(sink, "result.rating", showing.value.kind.as_str(), rating);
    }
    if evidence.disposition.as_ref().is_some_and(|disposition| disposition.cause.trim().is_empty()) {
        sink.error("no-cause", "disposition.cause", "a disposition names no cause")
            .label("no cause")
            .help("write what went wrong with the test, or take the disposition out: without a cause a result stays in the pool");
    }
    let temperature = evidence.tested.as_ref().and_then(|tested| tested.temperature.as_deref());
    within(sink, TEMPERATURE, "tested.temperature", temperature);
    plausible::tested(sink, "tested.temperature", temperature);
    trial::evidence(ledger, sink, evidence);
    attributes(sink, "measured", &evidence.measured);
}

fn baseline_stands(known: Known<'_>, sink: &mut Sink, own: &Evidence, id: &str) {
    let Some(entry) = known.find(sink, "baseline", &known.ledger.evidence, RecordKind::Evidence, id) else {
        return;
    };
    let baseline = &*entry.value;
    // A showing that is misspelt in either record is a fault of its own.
    let answers = |evidence: &Evidence| known.ledger.showings.contains_key(evidence.showing.id());
    let fault = if baseline.showing != own.showing && answers(baseline) && answers(own) {
        Some(format!("`{id}` answers `{}`, not `{}`", baseline.showing, own.showing))
    } else if baseline.baseline.is_some()
        || matches!(baseline.kind, EvidenceKind::Equivalence | EvidenceKind::Similarity)
    {
        Some(format!("`{id}` extends other evidence itself"))
    } else {
        None
    };
    if let Some(fault) = fault {
        sink.error("wrong-baseline", "baseline", fault)
            .label("no baseline for this")
            .help("name a test or inspection of the same showing that stands by itself")
            .why(&entry.file, "", "the record named");
    }
}

fn subject(known: Known<'_>, sink: &mut Sink, label: &SubjectLabel, resolve: bool) {
    if subjects::kind(sink, label).is_some() && resolve {
        subjects::resolve(known, sink, label);
    }
}

fn attributes<'k>(sink: &mut Sink, map: &str, values: &'k BTreeMap<String, AttributeValue>) {
    unknown_attributes(sink, map, is_attribute, values.keys().map(|key: &'k String| key.as_str()));
}

fn unknown_attributes<'k>(
    sink: &mut Sink,
    map: &str,
    known: fn(&str) -> bool,
    keys: impl Iterator<Item = &'k str>,
) {
    for key in keys.filter(|key| !known(key)) {
        sink.error(
            "unknown-attribute",
            At::Key(format!("{map}.{key}")),
            format!("`{key}` is no attribute of a configuration"),
        )
        .label("unknown attribute")
        .help(attribute_help(key));
    }
}

/// Finds a concession that every role has approved and that names fewer people than the ledger asks for. It stops no
/// commit by itself: the gate says which release leans on it.
fn few_people(known: Known<'_>, sink: &mut Sink, own: &Concession) {
    let Some(rule) = known.ledger.head.as_ref().and_then(|head| head.approvals.as_ref()) else { return };
    let Some(persons) = rule.persons else { return };
    let named = Approval::people(&own.approvals, &rule.concession).len();
    if own.approvals.is_empty()
        || named >= persons as usize
        || !Approval::by_all(&own.approvals, &rule.concession, None)
    {
        return;
    }
    let message = format!("it names {named} of the {persons} different people who must approve");
    sink.warning("not-approved", "approvals", message)
        .label("names lacking")
        .help("add `by: NAME` to its approvals, or a further approval by another person: nothing else of it may change");
}

pub(super) fn concession(known: Known<'_>, sink: &mut Sink, own: &Entry<Concession>) {
    let concession = &*own.value;
    known.find(sink, "showing", &known.ledger.showings, RecordKind::Showing, concession.showing.id());
    subject(known, sink, &concession.subject, true);
    count(sink, "limit", concession.limit, 1);
    if concession.limit.is_none() && concession.serials.is_empty() {
        let message = "a concession is for some pieces, and this one names none";
        sink.error("missing-key", At::Key("covers".to_string()), message)
            .label("neither `serials` nor `limit`")
            .help("write `serials: [SERIAL, SERIAL]`, or for how many units it is, `limit: 1`");
    }
    for (index, _) in concession.serials.iter().enumerate().filter(|(_, serial)| serial.as_str().is_empty()) {
        sink.error("missing-key", format!("serials.{}", index + 1), "it names no piece")
            .label("no serial")
            .help("write the piece's serial, or take the entry out");
    }
    serials::odd(&known.firsts.serials, sink, concession);
    few_people(known, sink, concession);
    let rule = known.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let roles = rule.map(|rule| rule.concession.as_slice()).unwrap_or_default();
    approvals::odd_roles(sink, &concession.approvals, (roles, "a concession"));
    approvals::blank_names(sink, &concession.approvals);
    let Covers::Differences(covers) = &concession.covers else { return };
    if covers.is_empty() {
        sink.error("empty-list", "covers", "`covers` covers nothing").label("no attribute").help(
            "name what is accepted, for example `film-build.max: {at_most: 190 um}`, or write `failed`",
        );
    }
    unknown_attributes(sink, "covers", is_conceded, covers.keys().map(String::as_str));
    for (key, covered) in covers {
        let named = [covered.at_most.is_some(), covered.at_least.is_some(), covered.equals.is_some()];
        if named.iter().filter(|named| **named).count() != 1 {
            let at = format!("covers.{key}");
            sink.error(
                "exactly-one",
                at,
                format!("`{key}` needs exactly one of `at_most`, `at_least` and `equals`"),
            )
            .label("one of three")
            .help("say how far the difference is accepted");
        }
        for (word, bound) in [("at most", &covered.at_most), ("at least", &covered.at_least)] {
            let Some(bound) = bound.as_ref().filter(|own| Figure::parse(own.as_str()).is_err()) else {
                continue;
            };
            let message = format!("`{bound}` is no figure, so nothing is {word} that");
            sink.error("bad-quantity", format!("covers.{key}"), message)
                .label("no figure")
                .help("write a number with its unit, or the value itself with `equals`");
        }
    }
    covers_nothing(known.ledger, sink, concession.showing.id(), covers);
}

/// Finds what a concession covers that no evidence of the showing has anything like: an attribute without its letter, a bound
/// of another quantity. It covers nothing, and whoever wrote it believes that it does.
fn covers_nothing(ledger: &Ledger, sink: &mut Sink, showing: &str, covers: &BTreeMap<String, Covered>) {
    let conformed = || {
        let own = ledger.evidence.values().filter(|own| own.value.showing.id() == showing);
        own.filter_map(|own| own.value.conformed.as_ref())
    };
    for (key, covered) in covers {
        let mut values = conformed().filter_map(|own| own.attributes.get(key)).peekable();
        if values.peek().is_none() {
            let below = format!("{key}.");
            let whole = conformed().find_map(|own| {
                own.attributes.iter().map(|(name, _)| name).find(|name| name.starts_with(&below))
            });
            if let Some(whole) = whole {
                let message = format!("no evidence of `{showing}` has an attribute `{key}`");
                sink.warning("covers-nothing", At::Key(format!("covers.{key}")), message)
                    .label("cut short")
                    .help(format!("write `{whole}`"));
            }
            continue;
        }
        let Some(bound) = covered.at_most.as_ref().or(covered.at_least.as_ref()) else { continue };
        let Some(own) = Figure::parse(bound.as_str()).ok() else { continue };
        let figures: Vec<Figure> = values
            .filter_map(|value| match value {
                AttributeValue::One(text) => Figure::parse(text).ok(),
                AttributeValue::List(_) => None,
            })
            .collect();
        let Some(one) = figures.first() else { continue };
        let unit = |figure: &Figure| figure.unit().to_string();
        let like = |other: &Figure| {
            unit(&own) == unit(other) || !unit(&own).is_empty() && own.number_in(&unit(other)).is_some()
        };
        if !figures.iter().any(like) {
            let message =
                format!("`{bound}` can't be held against `{}` as in evidence of `{showing}`", one.text());
            sink.warning("covers-nothing", format!("covers.{key}"), message)
                .label("another quantity")
                .help("write the bound in the unit of the attribute");
        }
    }
}
