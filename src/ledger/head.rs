//! Rules on `ledger.yaml`.

use super::Ledger;
use super::find::HEAD_FILE;
use super::known::unknown_milestone;
use super::ranges::{NOT_NEGATIVE, POSITIVE, SCRAP, TEMPERATURE, all_within, money, refuse, within};
use super::sink::{At, Sink};
use super::words::{GATE_RULES, suggest};
use crate::quantity::Per;
use crate::record::LedgerHead;
use std::collections::BTreeSet;

/// The version of the record formats that this program reads.
pub(super) const FORMAT: u32 = 1;

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
    newer_than_known(bytes).map(newer_format)
}

/// Returns the format of a ledger that was written for a later program.
pub(super) fn newer_than_known(bytes: &[u8]) -> Option<u64> {
    let value: serde_yaml::Value = serde_yaml::from_slice(bytes).ok()?;
    value.get("format")?.as_u64().filter(|format| *format > u64::from(FORMAT))
}

fn newer_format(format: u64) -> Sink {
    let mut sink = Sink::new(HEAD_FILE);
    sink.error(
        "format-newer",
        "format",
        format!("the ledger is of format {format}, this program reads {FORMAT}"),
    )
    .label("newer format")
    .help("use a later version of bondline");
    sink
}

/// Finds budgets of groups that nothing belongs to: most are misspelt, and their group goes unwatched.
pub(super) fn groups(ledger: &Ledger) -> Option<Sink> {
    let head = ledger.head.as_ref()?;
    // Before the first panel no group can have any; a broken record may be the one.
    if ledger.panels.is_empty() || !ledger.broken.is_empty() {
        return None;
    }
    let panels = ledger.panels.values().filter_map(|panel| panel.value.group.as_ref());
    let assemblies = ledger.assemblies.values().filter_map(|assembly| assembly.value.group.as_ref());
    let known: BTreeSet<&str> = panels.chain(assemblies).map(|group| group.as_str()).collect();
    let mut sink = Sink::new(HEAD_FILE);
    for group in head.budgets.keys().filter(|group| !known.contains(group.as_str())) {
        let help = suggest(group, known.iter().copied());
        sink.warning(
            "unknown-group",
            At::Key(format!("budgets.{group}")),
            format!("nothing is in the group `{group}`: its budget watches nothing"),
        )
        .label("no such group")
        .help(help.unwrap_or_else(|| "write `group:` in the panels that the budget is for".to_string()));
    }
    Some(sink)
}

/// Checks what was read.
pub(super) fn check(head: &LedgerHead) -> Sink {
    if head.format > FORMAT {
        return newer_format(u64::from(head.format));
    }
    let mut sink = Sink::new(HEAD_FILE);
    let sink_ref = &mut sink;
    if head.format != FORMAT {
        sink_ref
            .error("format-unknown", "format", format!("there is no format {}", head.format))
            .label("no format")
            .help(format!("write `format: {FORMAT}`"));
    }
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
    for rule in head.policy.keys().filter(|rule| !GATE_RULES.contains(&rule.as_str())) {
        let help = suggest(rule, GATE_RULES.iter().copied());
        sink_ref
            .error(
                "unknown-policy",
                At::Key(format!("policy.{rule}")),
                format!("`{rule}` is no rule of the gate"),
            )
            .label("unknown rule")
            .help(help.unwrap_or_else(|| format!("there are: {}", GATE_RULES.join(", "))));
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
