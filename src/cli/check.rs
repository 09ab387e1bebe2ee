//! `bondline check`.

use super::args::CheckArgs;
use super::context::{Context, Failure, Status, to_the_end};
use crate::record::{Fault, Level, render};
use crate::report::faults;
use std::collections::BTreeMap;
use std::io::Write;

pub(super) fn run(context: &mut Context, args: &CheckArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let mut loaded = to_the_end(context.load(&place, &args.source)?);
    let stale = context.stale_decisions(&loaded);
    let stale = unsaid(&loaded.ledger.faults, stale);
    loaded.ledger.faults.extend(stale);
    let ahead = loaded.ledger.days_far_ahead(&loaded.snapshot, context.today);
    loaded.ledger.faults.extend(ahead);
    let shown: Vec<&Fault> = loaded
        .ledger
        .faults
        .iter()
        .filter(|fault| args.notes || context.json() || fault.level > Level::Note)
        .collect();
    if context.json() {
        let all: Vec<Fault> = loaded.ledger.faults.clone();
        writeln!(out, "{:#}", faults::json(&all))?;
    } else {
        let mut texts: BTreeMap<&str, Option<String>> = BTreeMap::new();
        for fault in &shown {
            let text = texts.entry(&fault.place.file).or_insert_with(|| {
                let text = loaded.text(&fault.place.file)?;
                Some(text.strip_prefix('\u{feff}').map(str::to_string).unwrap_or(text))
            });
            writeln!(out, "{}\n", render::fault(fault, text.as_deref(), context.colour, context.width))?;
        }
        writeln!(out, "{}", faults::text_summary(&loaded.ledger.faults))?;
        let hidden = loaded.ledger.faults.len() - shown.len();
        if hidden > 0 {
            let notes = if hidden == 1 { "1 note" } else { &format!("{hidden} notes") };
            writeln!(out, "{notes} not shown; `bondline check --notes` shows them")?;
        }
    }
    Ok(if loaded.ledger.has_errors() { Status::Objection } else { Status::Done })
}

/// What carrying a decision out would leave, without what was said already of the very value that names it.
fn unsaid(known: &[Fault], stale: Vec<Fault>) -> Vec<Fault> {
    let named = |fault: &Fault| fault.message.split('`').nth(1).map(str::to_string);
    let said = |fault: &Fault| {
        known
            .iter()
            .filter(|own| own.rule == fault.rule && own.place.file == fault.place.file)
            .any(|own| named(own).is_some_and(|name| Some(name) == named(fault)))
    };
    stale.into_iter().filter(|fault| !said(fault)).collect()
}
