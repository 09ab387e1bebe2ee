//! Rules on `ledger.yaml`.

use super::Ledger;
use super::find::HEAD_FILE;
use super::known::unknown_milestone;
use super::proof::one_or_many;
use super::ranges::{NOT_NEGATIVE, POSITIVE, SCRAP, TEMPERATURE, all_within, money, refuse, within};
use super::sink::{At, Sink};
use super::words::{gate_rules, suggest};
use crate::quantity::{Per, apart};
use crate::record::{Fault, LedgerHead};
use std::cell::LazyCell;
use std::collections::{BTreeMap, BTreeSet};

/// The version of the record formats that this program writes, and the newest that it reads.
pub(super) const FORMAT: u32 = 1;

/// The oldest version that is read: 1 was the first, and was never written as 0 or left out.
const OLDEST: u32 = 1;

/// Says that a ledger has no `ledger.yaml` that could be read.
pub(super) fn missing(why: &str) -> Sink {
    let mut sink = Sink::new(HEAD_FILE);
    sink.error("missing-head", At::File, format!("`{HEAD_FILE}` can't be read: {why}"))
        .label("no ledger")
        .help("write at least `format: 1` and `programme: NAME` in it");
    sink
}

/// Says that a ledger was written for a later program, if it was: then nothing else about it is a fault.
pub(super) fn newer(bytes: &[u8]) -> Option<Sink> {
    newer_than_known(bytes).map(|format| format_of(format, OLDEST, FORMAT))
}

/// Returns the format of a ledger that was written for a later program.
pub(super) fn newer_than_known(bytes: &[u8]) -> Option<u64> {
    let value: serde_yaml::Value = serde_yaml::from_slice(bytes).ok()?;
    value.get("format")?.as_u64().filter(|format| *format > u64::from(FORMAT))
}

/// Says what a ledger's format means to a program that reads those from `oldest` to `own`: an older one is read
/// with a note, a newer one is refused, and so is what never was one.
fn format_of(format: u64, oldest: u32, own: u32) -> Sink {
    let mut sink = Sink::new(HEAD_FILE);
    let read = if oldest == own { own.to_string() } else { format!("{oldest} to {own}") };
    if format > u64::from(own) {
        sink.error(
            "format-newer",
            "format",
            format!("the ledger is of format {format}, this program reads {read}"),
        )
        .label("newer format")
        .help("use a later version of bondline");
    } else if format < u64::from(oldest) {
        sink.error("format-unknown", "format", format!("there is no format {format}"))
            .label("no format")
            .help(format!("write `format: {own}`"));
    } else if format < u64::from(own) {
        sink.note(
            "format-older",
            "format",
            format!("the ledger is of format {format}, this program writes {own}"),
        )
        .label("older format")
        .help(format!("nothing need be done: it is read as it was meant; write `format: {own}` when all who share it have this version"));
    }
    sink
}

/// Says which number to write where there is none: the general words can't know.
pub(super) fn number_it(faults: &mut [Fault]) {
    for fault in faults.iter_mut().filter(|fault| fault.rule == "missing-key") {
        if fault.message.starts_with("`format`") {
            fault.help = Some(format!("write `format: {FORMAT}`"));
        }
    }
}

/// Groups above so many are not held against one another: a ledger that somebody sent may have any number.
const MANY: usize = 200;

/// Finds groups that nothing belongs to where something is asked of them, and panels whose group is written like another
/// that something is asked of: most are misspelt, and then nothing watches their mass and no duty comes of the showing.
pub(super) fn groups(ledger: &Ledger) -> Vec<Sink> {
    // Before the first panel no group can have any; a broken record may be the one.
    if ledger.panels.is_empty() || !ledger.broken.is_empty() {
        return Vec::new();
    }
    let mut of_panels: BTreeMap<&str, usize> = BTreeMap::new();
    for group in ledger.panels.values().filter_map(|panel| panel.value.group.as_ref()) {
        *of_panels.entry(group.as_str()).or_default() += 1;
    }
    let assemblies = ledger.assemblies.values().filter_map(|assembly| assembly.value.group.as_ref());
    let known: BTreeSet<&str> =
        assemblies.map(|group| group.as_str()).chain(of_panels.keys().copied()).collect();
    let mut all = vec![budgets_of_nothing(ledger, &known)];
    all.extend(showings_of_nothing(ledger, &of_panels));
    // What budgets and showings name is meant. Where nothing is in it, that is said already, and it may be the one that is
    // mistyped.
    let applies = ledger.showings.values().filter_map(|showing| showing.value.applies_to.as_ref());
    let asked = applies.flat_map(|applies| applies.group.iter()).map(|group| group.as_str());
    let budgets = ledger.head.iter().flat_map(|head| head.budgets.keys()).map(|group| group.as_str());
    let meant: BTreeSet<&str> = asked.chain(budgets).filter(|group| known.contains(group)).collect();
    if meant.len() <= MANY {
        all.extend(groups_by_a_slip(ledger, &of_panels, &meant));
    }
    all
}

fn budgets_of_nothing(ledger: &Ledger, known: &BTreeSet<&str>) -> Sink {
    let mut sink = Sink::new(HEAD_FILE);
    let budgets = ledger.head.iter().flat_map(|head| head.budgets.keys());
    for group in budgets.filter(|group| !known.contains(group.as_str())) {
        let help = suggest(group, known.iter().copied());
        sink.warning(
            "unknown-group",
            At::Key(format!("budgets.{group}")),
            format!("nothing is in the group `{group}`: its budget watches nothing"),
        )
        .label("no such group")
        .help(help.unwrap_or_else(|| "write `group:` in the panels that the budget is for".to_string()));
    }
    sink
}

/// `of_panels`: how many panels are in each group.
fn showings_of_nothing(ledger: &Ledger, of_panels: &BTreeMap<&str, usize>) -> Vec<Sink> {
    // One that may be mistyped itself is no help.
    let is_sound = |own: &&str| of_panels.len() > MANY || !of_panels.keys().any(|other| is_slip(own, other));
    let sound = LazyCell::new(|| of_panels.keys().copied().filter(is_sound).collect::<Vec<&str>>());
    let mut all = Vec::new();
    for showing in ledger.showings.values() {
        let Some(applies) = &showing.value.applies_to else { continue };
        let mut sink = Sink::new(&showing.file);
        let groups = applies.group.iter().enumerate();
        for (index, group) in groups.filter(|(_, group)| !of_panels.contains_key(group.as_str())) {
            let help = suggest(group.as_str(), sound.iter().copied())
                .or_else(|| suggest(group.as_str(), of_panels.keys().copied()));
            sink.warning(
                "unknown-group",
                one_or_many("applies_to.group", applies.group.0.len(), index),
                format!("no panel is in the group `{group}`: the showing is asked of none there"),
            )
            .label("no such group")
            .help(help.unwrap_or_else(|| "write `group:` in the panels that it is asked of".to_string()));
        }
        all.push(sink);
    }
    all
}

/// Panels alone in a group that is none of those `meant`, and written almost like one.
fn groups_by_a_slip(ledger: &Ledger, of_panels: &BTreeMap<&str, usize>, meant: &BTreeSet<&str>) -> Vec<Sink> {
    let mut all = Vec::new();
    for panel in ledger.panels.values() {
        let Some(group) = panel.value.group.as_ref().map(|group| group.as_str()) else { continue };
        // What several panels say is no slip.
        if meant.contains(group) || of_panels.get(group).is_some_and(|n| *n > 1) {
            continue;
        }
        let slips = meant.iter().filter(|other| is_slip(group, other));
        let Some(other) = slips.min_by_key(|other| apart(group, other)) else { continue };
        let mut sink = Sink::new(&panel.file);
        let message = format!("no budget and no showing names the group `{group}`, but one like it");
        sink.warning("unknown-group", "group", message)
            .label("a group by itself")
            .help(format!("did you mean `{other}`?"));
        all.push(sink);
    }
    all
}

/// Whether a word is most likely another one mistyped. Those that are told apart by figures, or by the letter or two of a last
/// word (`wing-l`, `deck-ii`), are not; nor are short words, which lie near one another anyway.
fn is_slip(word: &str, other: &str) -> bool {
    is_slip_within(word, other, word.chars().count() / 5)
}

/// As [`is_slip`], for so many letters that are wrong, left out or too many.
pub(super) fn is_slip_within(word: &str, other: &str, reach: usize) -> bool {
    let letters = |text: &str| text.chars().filter(|own| !own.is_ascii_digit()).collect::<String>();
    let same_stem = || {
        let parts = word.rsplit_once(['-', ' ', '_']).zip(other.rsplit_once(['-', ' ', '_']));
        parts.is_some_and(|((own, last), (stem, end))| own == stem && last.len() <= 2 && end.len() <= 2)
    };
    word != other && apart(word, other) <= reach && letters(word) != letters(other) && !same_stem()
}

/// Checks what was read.
pub(super) fn check(head: &LedgerHead) -> Sink {
    let mut sink = format_of(u64::from(head.format), OLDEST, FORMAT);
    if head.format > FORMAT {
        return sink;
    }
    let sink_ref = &mut sink;
    let mut seen = BTreeSet::new();
    for (index, milestone) in head.milestones.iter().enumerate() {
        if !seen.insert(milestone) {
            let at = super::known::entry("milestones", index, "");
            sink_ref
                .error("duplicate-milestone", at, format!("the milestone `{milestone}` is listed twice"))
                .label("listed before")
                .help("take one out: milestones stand in one order");
        }
    }
    if let Some(reached) = head.reached.as_ref().filter(|reached| !head.milestones.contains(reached)) {
        unknown_milestone(sink_ref, "reached", reached, &head.milestones);
    }
    for rule in head.policy.keys().filter(|rule| gate_rules().all(|own| own != rule.as_str())) {
        let help = suggest(rule, gate_rules());
        sink_ref
            .error(
                "unknown-policy",
                At::Key(format!("policy.{rule}")),
                format!("`{rule}` is no rule of the gate"),
            )
            .label("unknown rule")
            .help(
                help.unwrap_or_else(|| format!("there are: {}", gate_rules().collect::<Vec<_>>().join(", "))),
            );
    }
    for (group, budget) in &head.budgets {
        within(sink_ref, POSITIVE, &format!("budgets.{group}"), Some(budget));
    }
    figures(sink_ref, head);
    sink
}

fn figures(sink: &mut Sink, head: &LedgerHead) {
    if let Some(climate) = &head.climate {
        within(sink, TEMPERATURE, "climate.ambient", Some(&climate.ambient));
        within(sink, TEMPERATURE, "climate.sky", climate.sky.as_deref());
        all_within(
            sink,
            NOT_NEGATIVE,
            &[
                ("climate.irradiance", Some(&climate.irradiance)),
                ("climate.wind", climate.wind.as_deref()),
                ("climate.structural_wind", climate.structural_wind.as_deref()),
            ],
        );
        super::plausible::climate(sink, climate);
    }
    if let Some(growth) = &head.growth {
        all_within(
            sink,
            NOT_NEGATIVE,
            &[
                ("growth.estimated", growth.estimated.as_deref()),
                ("growth.calculated", growth.calculated.as_deref()),
                ("growth.weighed", growth.weighed.as_deref()),
                ("growth.paint", growth.paint.as_deref()),
                ("growth.paste", growth.paste.as_deref()),
            ],
        );
    }
    if let Some(rates) = &head.rates {
        let currency = head.currency.as_ref().map(|text| text.as_str());
        money(sink, "rates.specimen", rates.specimen.as_ref(), currency);
        money(sink, "rates.panel_layup", rates.panel_layup.as_ref(), currency);
        money(sink, "rates.lab_week", rates.lab_week.as_ref(), currency);
        money(sink, "rates.labour", rates.labour.as_ref(), currency);
        if let Some(labour) = rates.labour.as_ref().filter(|own| !matches!(own.per(), Per::Time(_))) {
            refuse(
                sink,
                "rates.labour",
                &format!("`{}` is no rate of work", labour.text()),
                "it must be for a time",
                "write what one hour costs, for example `62 EUR/h`",
            );
        }
        let times = [("rates.layer", rates.layer.as_deref()), ("rates.coat", rates.coat.as_deref())];
        all_within(sink, NOT_NEGATIVE, &times);
        within(sink, SCRAP, "rates.scrap", rates.scrap.as_deref());
    }
    super::levels::statistics(sink, head.statistics.as_ref());
    super::weighed::rules_of_head(sink, head.weighing.as_ref());
}

#[cfg(test)]
mod tests {
    use super::{format_of, is_slip};
    use crate::ledger::sink::settle;
    use crate::record::Level;
    use crate::source::Snapshot;

    #[test]
    fn groups_that_are_told_apart_on_purpose_are_no_slips() {
        for (one, other) in [("closurse", "closures"), ("closure", "closures"), ("Floats", "floats")] {
            assert!(is_slip(one, other), "{one} {other}");
        }
        let meant = [("wing-l", "wing-r"), ("frame-a", "frame-b"), ("deck-i", "deck-ii"), ("tail", "rail")];
        for (one, other) in
            meant.into_iter().chain([("float-1", "float-2"), ("hull", "hull"), ("fin", "fan")])
        {
            assert!(!is_slip(one, other), "{one} {other}");
        }
    }

    /// Of a program that has outlived a format; today there is only the first.
    #[test]
    fn an_older_format_is_read_with_a_note_and_a_newer_one_refused_in_words() {
        let files = Snapshot::in_memory(Default::default());
        let said = |format: u64, oldest: u32, own: u32| {
            let faults = settle(&files, vec![format_of(format, oldest, own)]);
            assert!(faults.len() <= 1, "{faults:?}");
            faults.into_iter().next().map(|fault| (fault.rule, fault.level, fault.message, fault.help))
        };
        assert_eq!(said(3, 2, 3), None);
        let (rule, level, message, help) = said(2, 2, 3).unwrap();
        assert_eq!((rule, level), ("format-older", Level::Note));
        assert_eq!(message, "the ledger is of format 2, this program writes 3");
        assert!(help.unwrap().contains("nothing need be done"));
        let (rule, level, message, _) = said(4, 2, 3).unwrap();
        assert_eq!((rule, level), ("format-newer", Level::Error));
        assert_eq!(message, "the ledger is of format 4, this program reads 2 to 3");
        for never in [0, 1] {
            let (rule, level, _, help) = said(never, 2, 3).unwrap();
            assert_eq!((rule, level), ("format-unknown", Level::Error));
            assert_eq!(help.as_deref(), Some("write `format: 3`"));
        }
    }
}
