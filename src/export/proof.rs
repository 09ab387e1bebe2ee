//! Rows about what is shown: showings, evidence, specimens, duties, decisions, assumptions.

use super::Cell;
use super::contents::{Rows, Source};
use crate::article::{ArticleError, Subject};
use crate::qualify::assumed;
use crate::record::{Graded, Text};

fn joined<'t>(all: impl IntoIterator<Item = &'t Text>) -> Cell {
    Cell::text(all.into_iter().map(Text::as_str).collect::<Vec<_>>().join(", "))
}

pub(super) fn showings(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<crate::record::Showing>| {
        let own = &entry.value;
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.kind.as_str()),
            joined(&own.clause.0),
            joined(&own.means.0),
            Cell::maybe(own.method.as_ref()),
            Cell::maybe(own.needed_by.as_ref()),
        ]
    };
    source.ledger.showings.values().map(one).collect()
}

pub(super) fn evidence(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<crate::record::Evidence>| {
        let own = &entry.value;
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.showing.id()),
            Cell::maybe(Subject::from_label(&own.subject)),
            Cell::text(own.kind.word()),
            Cell::text(own.state.word()),
            Cell::maybe(own.made),
            Cell::maybe(own.report.as_ref()),
            Cell::maybe(source.ledger.data.get(&entry.id).map(|data| &data.file).or(own.data.as_ref())),
            Cell::maybe(own.conformed.as_ref().and_then(|conformed| conformed.commit.as_ref())),
            Cell::maybe(own.baseline.as_ref().map(|other| other.id())),
            Cell::maybe(own.supersedes.as_ref().map(|other| other.id())),
        ]
    };
    source.ledger.evidence.values().map(one).collect()
}

pub(super) fn specimens(source: &Source<'_>) -> Rows {
    let mut rows = Rows::new();
    for (id, data) in &source.ledger.data {
        for own in data.rows.iter() {
            rows.push(vec![
                Cell::text(id.clone()),
                Cell::whole(own.line),
                Cell::text(own.batch.to_string()),
                Cell::text(own.panel.to_string()),
                Cell::text(own.specimen.to_string()),
                Cell::number(own.value),
                Cell::maybe(data.unit.as_ref()),
                Cell::maybe(own.rejected.as_ref()),
                Cell::number(own.ply_thickness().map(|value| value * 1e3)),
                Cell::number(own.fibre_volume().map(|value| value * 1e2)),
                Cell::number(own.width().map(|value| value * 1e3)),
                Cell::maybe(own.mode()),
                Cell::maybe(own.condition()),
            ]);
        }
    }
    rows
}

pub(super) fn readings(source: &Source<'_>) -> Rows {
    let mut rows = Rows::new();
    for (id, data) in &source.ledger.data {
        for own in data.all_readings().iter() {
            let (number, grade) = match &own.value {
                Some(Graded::Number(value)) => (Cell::number(*value), Cell::None),
                graded => (Cell::None, Cell::maybe(graded.as_ref())),
            };
            rows.push(vec![
                Cell::text(id.clone()),
                Cell::whole(own.line),
                Cell::text(own.panel.to_string()),
                Cell::text(own.site.clone()),
                Cell::maybe(own.place.as_ref()),
                Cell::number(own.exposure.number),
                Cell::text(own.exposure.unit.word()),
                Cell::text(own.property.word()),
                number,
                Cell::text(own.property.unit()),
                grade,
                Cell::maybe(own.on),
                Cell::maybe(own.rejected.as_ref()),
            ]);
        }
    }
    rows
}

/// Duties panel by panel, and the reasons of each.
pub(super) fn duties(source: &Source<'_>) -> (Rows, Rows) {
    let (mut duties, mut reasons) = (Rows::new(), Rows::new());
    for duty in source.evaluation.duties.values() {
        for (panel, judged) in &*duty.panels {
            let number = duties.len() + 1;
            duties.push(vec![
                Cell::whole(number),
                Cell::text(duty.showing.clone()),
                Cell::text(duty.subject.to_string()),
                Cell::text(panel.clone()),
                Cell::text(judged.verdict.word()),
                Cell::text(judged.asks.to_string()),
                Cell::maybe(duty.needed_by.as_ref()),
                Cell::text(judged.evidence.join(", ")),
            ]);
            for (at, own) in judged.because.iter().enumerate() {
                reasons.push(vec![
                    Cell::whole(number),
                    Cell::whole(at + 1),
                    Cell::text(own.attribute.clone()),
                    Cell::text(own.was.clone()),
                    Cell::text(own.is.clone()),
                    Cell::text(own.effect.to_string()),
                    Cell::text(own.rule.clone()),
                    Cell::text(own.source.clone()),
                    Cell::maybe(own.evidence.as_ref()),
                ]);
            }
        }
    }
    (duties, reasons)
}

pub(super) fn decisions(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<crate::record::Decision>| {
        let own = &entry.value;
        let predicted = own.predicted.as_ref();
        let found = own.found.as_ref().and_then(|found| found.0.weighed.as_ref());
        let approval = |own: &crate::record::Approval| format!("{} {}", own.role, own.on);
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.status.word()),
            Cell::maybe(own.raised),
            Cell::maybe(own.why.as_ref()),
            Cell::whole(own.changes.len()),
            Cell::text(own.approvals.iter().map(approval).collect::<Vec<_>>().join(", ")),
            Cell::number(predicted.map(|own| own.mass.si())),
            predicted.map_or(Cell::None, |own| Cell::whole(own.specimens)),
            Cell::number(predicted.map(|own| own.weeks)),
            Cell::number(predicted.and_then(|own| own.cost.as_ref()).map(|cost| cost.amount())),
            Cell::number(found.map(|mass| mass.si())),
            Cell::maybe(own.supersedes.as_ref().map(|other| other.id())),
        ]
    };
    source.ledger.decisions.values().map(one).collect()
}

pub(super) fn assumptions(source: &Source<'_>) -> Result<Rows, ArticleError> {
    let all = assumed::assumptions(source.ledger, source.evaluation)?;
    let one = |(at, own): (usize, &assumed::Assumption)| {
        vec![
            Cell::whole(at + 1),
            Cell::text(own.kind.word()),
            Cell::maybe(own.address.as_ref()),
            Cell::text(own.what.clone()),
            Cell::number(own.mass_kg),
            Cell::whole(own.duties.len()),
            Cell::text(own.panels.join(", ")),
        ]
    };
    Ok(all.iter().enumerate().map(one).collect())
}
