//! Rows about the shop: processes, tools, paint.

use super::Cell;
use super::contents::{Rows, Source};
use super::engineering::{celsius, scaled};
use crate::article::film_build;
use crate::record::{Cycle, Finish, Process, Tool};

/// A cycle in words, and its hottest dwell.
fn cycle(own: Option<&Cycle>) -> (Cell, Cell) {
    let Some(own) = own else { return (Cell::None, Cell::None) };
    let words = own.0.iter().map(|one| {
        let ramp = one.ramp.as_ref().map(|own| format!("at {} ", own.text()));
        let hold = one.hold.as_ref().map(|own| format!(" for {}", own.text()));
        format!("{}to {}{}", ramp.unwrap_or_default(), one.to.text(), hold.unwrap_or_default())
    });
    let peak = own.0.iter().map(|one| &*one.to).max_by(|one, two| one.si().total_cmp(&two.si()));
    (Cell::text(words.collect::<Vec<_>>().join(", then ")), celsius(peak))
}

pub(super) fn processes(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<Process>| {
        let own = &entry.value;
        let (cure, cure_peak) = cycle(own.cure.as_ref());
        let (postcure, postcure_peak) = cycle(own.postcure.as_ref());
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.method.word()),
            cure,
            cure_peak,
            postcure,
            postcure_peak,
            scaled(own.pressure.as_deref(), 1e-3),
            scaled(own.vacuum.as_deref(), 1e-3),
            scaled(own.max_out_time.as_deref(), 1.0 / 3600.0),
            scaled(own.bleed.as_deref(), 1e3),
            Cell::maybe(own.site.as_ref()),
            Cell::maybe(own.surface_preparation.as_ref()),
        ]
    };
    source.ledger.processes.values().map(one).collect()
}

pub(super) fn tools(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<Tool>| {
        let own = &entry.value;
        let pulls = own.pulls.as_ref();
        let count = |own: Option<u32>| own.map_or(Cell::None, Cell::whole);
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.kind.word()),
            Cell::maybe(own.from.as_ref().map(|own| own.id())),
            Cell::maybe(own.body.as_ref()),
            scaled(own.cte.as_deref(), 1e6),
            celsius(own.tg.as_deref()),
            Cell::maybe(own.surface.as_ref()),
            count(pulls.and_then(|own| own.expected)),
            count(pulls.and_then(|own| own.made)),
        ]
    };
    source.ledger.tools.values().map(one).collect()
}

pub(super) fn finishes(source: &Source<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<Finish>| {
        let own = &entry.value;
        let colour = own.colour.as_ref();
        let (film, most) = film_build(own);
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::maybe(colour.and_then(|own| own.name.as_ref())),
            scaled(colour.and_then(|own| own.solar_absorptance.as_deref()), 1.0),
            scaled(colour.and_then(|own| own.emittance.as_deref()), 1.0),
            Cell::maybe(own.process.as_ref().map(|own| own.id())),
            Cell::number(film.to_f64()),
            Cell::number(most.to_f64()),
        ]
    };
    source.ledger.finishes.values().map(one).collect()
}

pub(super) fn coats(source: &Source<'_>) -> Rows {
    let mut rows = Rows::new();
    for entry in source.ledger.finishes.values() {
        for (at, own) in entry.value.coats.iter().enumerate() {
            rows.push(vec![
                Cell::text(entry.id.clone()),
                Cell::whole(at + 1),
                Cell::text(own.material.id()),
                scaled(Some(&own.dry_film), 1e6),
                scaled(own.removed.as_deref(), 1e6),
            ]);
        }
    }
    rows
}
