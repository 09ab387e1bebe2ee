//! Samples from evidence, as its showing takes them.

use super::{alike, equivalence, typed, with_pooled};
use crate::article::Subject;
use crate::cli::args::BasisArgs;
use crate::cli::context::{Context, Failure, Status, named};
use crate::ledger::{Entry, Ledger};
use crate::qualify::pool::levels;
use crate::record::{Address, Evidence, EvidenceKind, Figure, RecordKind, Showing};
use crate::report::basis::{BasisReport, Between, SampleReport, evidence_sample, json, no_part, text};
use crate::report::page::shown;
use crate::statistics::{Basis, Levels, between_tested};
use std::io::Write;

/// Values at a temperature between those tested; moisture has to be the same.
fn between(at: &str, samples: &[SampleReport]) -> Result<Between, Failure> {
    let asked = Figure::parse(at).ok().and_then(|own| Some(own.number_in("degC")? + 273.15));
    let Some(kelvin) = asked else {
        return Err(Failure::new(
            format!("`--between {}` is no temperature", shown(at)),
            "write it with its unit, for example `--between '60 degC'`",
        ));
    };
    let value = |basis: Basis| -> Result<f64, String> {
        let mut tested = Vec::new();
        let mut moisture: Option<&String> = None;
        for own in samples {
            let (temperature, own_moisture) = own
                .tested_in
                .as_ref()
                .ok_or_else(|| format!("{} names no temperature of its test", own.name))?;
            if let Some(other) = moisture.filter(|other| *other != own_moisture) {
                return Err(format!(
                    "`{other}` and `{own_moisture}` are two moistures: nothing lies between them"
                ));
            }
            moisture = Some(own_moisture);
            let found = own.procedure.as_ref().map_err(ToString::to_string)?;
            let given = found.value(basis).as_ref().map_err(ToString::to_string)?;
            // In degrees, as people read what is refused.
            tested.push([temperature - 273.15, given.value]);
        }
        between_tested(&tested, kelvin - 273.15).map_err(|problem| format!("in degC, {problem}"))
    };
    let estimates = [Basis::B, Basis::A].map(|basis| samples.iter().any(|own| own.is_estimate(basis)));
    Ok(Between { at: shown(at), values: [value(Basis::B), value(Basis::A)], estimates })
}

pub(super) fn run(
    context: &mut Context,
    args: &BasisArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_alone(&place, &args.source)?;
    let ledger = &loaded.ledger;
    // Evidence of one showing is one sample; further showings are further environments.
    for of in &args.of {
        let entry = named(of, RecordKind::Evidence, &ledger.evidence, ledger)?;
        if entry.value.kind == EvidenceKind::Equivalence {
            return equivalence::run(context, args, &loaded, entry, out, err);
        }
    }
    let mut samples: Vec<(String, Vec<&Entry<Evidence>>)> = Vec::new();
    for of in &args.of {
        let entry = named(of, RecordKind::Evidence, &ledger.evidence, ledger)?;
        let subject = Subject::from_label(&entry.value.subject);
        let other = samples
            .iter()
            .flat_map(|(_, records)| records)
            .find(|known| Subject::from_label(&known.value.subject) != subject);
        if let Some(other) = other {
            return Err(Failure::new(
                format!(
                    "evidence/{} and evidence/{} are of two subjects: they are no one sample",
                    other.id, entry.id
                ),
                "name evidence of one subject; `bondline why SHOWING SUBJECT` says what is pooled for another",
            ));
        }
        if let Some(why) = no_part(ledger, entry) {
            return Err(Failure::new(
                format!("evidence/{} gives no design value: {why}", entry.id),
                "name finished tests; `bondline why SHOWING SUBJECT` says what each record does",
            ));
        }
        let showing = entry.value.showing.id().to_string();
        match samples.iter_mut().find(|(known, _)| *known == showing) {
            Some((_, records)) if records.iter().any(|known| known.id == entry.id) => {}
            Some((_, records)) => records.push(entry),
            None => samples.push((showing, vec![entry])),
        }
    }
    let mut found = Vec::new();
    let mut first: Option<(Address, Levels)> = None;
    for (showing, records) in &samples {
        let id = records.first().map_or("", |entry| entry.id.as_str());
        let entry = ledger.showings.get(showing).ok_or_else(|| {
            Failure::new(
                format!("showing/{showing} of evidence/{id} can't be read"),
                "`bondline check` says why",
            )
        })?;
        let own = typed(args, levels(ledger, &entry.value));
        first.get_or_insert((Address::new(RecordKind::Showing, showing.clone()), own));
        found.push(evidence_sample(ledger, entry, records, &own)?);
    }
    let (of, levels) = first.unwrap_or((Address::ledger(), typed(args, Levels::default())));
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    alike(&found)?;
    let apart = apart(ledger, samples.iter().map(|(showing, _)| showing.as_str()), &found);
    let of_apart = |at: &String, why: &String| Between {
        at: shown(at),
        values: [Err(why.clone()), Err(why.clone())],
        estimates: [true; 2],
    };
    let between = match (&args.between, &apart) {
        (None, _) => None,
        (Some(at), Some(why)) => Some(of_apart(at, why)),
        (Some(at), None) => Some(between(at, &found)?),
    };
    let report = match apart {
        Some(why) => BasisReport { samples: found, pooled: Some(Err(why)), between },
        None => BasisReport { between, ..with_pooled(found, &levels) },
    };
    context.answer(out, (&loaded, &evaluation), args.all, || json(&report), |frame| text(&report, frame))?;
    Ok(Status::Done)
}

/// Why evidence of several showings is no one property in several environments: another kind, another method,
/// another nominal.
fn apart<'l>(
    ledger: &'l Ledger,
    showings: impl Iterator<Item = &'l str>,
    samples: &[SampleReport],
) -> Option<String> {
    let entries: Vec<_> = showings.filter_map(|id| ledger.showings.get(id)).collect();
    // A method's year is no other method.
    let method = |own: &Showing| {
        let text = own.method.as_ref()?.as_str();
        Some(text.rsplit_once('-').map_or(text, |(before, _)| before).trim().to_lowercase())
    };
    let first = entries.first()?;
    for other in entries.iter().skip(1) {
        let (one, two) = (&first.value, &other.value);
        if one.kind != two.kind {
            return Some(format!(
                "showing/{} is of {}, showing/{} of {}: they are two properties",
                first.id, one.kind, other.id, two.kind
            ));
        }
        if let (Some(own), Some(another)) = (method(one), method(two))
            && own != another
        {
            return Some(format!(
                "showing/{} and showing/{} are by two methods: they are two properties",
                first.id, other.id
            ));
        }
    }
    let nominal = |own: &SampleReport| own.normalised.clone();
    let first = samples.first()?;
    let other = samples.iter().find(|own| nominal(own) != nominal(first))?;
    Some(format!("{} and {} are not normalised to the same", first.name, other.name))
}
