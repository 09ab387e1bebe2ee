//! Rows about what is built: materials, recipes, panels, mass, margins, cost.

use super::Cell;
use super::contents::{Desk, Rows};
use crate::article::ArticleError;
use crate::article::stack::stack;
use crate::article::weigh::{CostSort, Weigher};
use crate::quantity::Quantity;
use crate::record::{Class, MaterialKind, Maturity, Status};
use crate::report::head::CAUTION_LINE;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Kelvin between the two scales of temperature.
const ZERO_CELSIUS: f64 = 273.15;

pub(super) fn scaled(value: Option<&Quantity>, factor: f64) -> Cell {
    Cell::number(value.map(|value| tidy(value.si() * factor)))
}

/// What was typed in one unit and is shown in another, without the dust of the way there: 13 digits.
fn tidy(value: f64) -> f64 {
    format!("{value:.12e}").parse().unwrap_or(value)
}

pub(super) fn celsius(value: Option<&Quantity>) -> Cell {
    Cell::number(value.map(|value| tidy(value.si() - ZERO_CELSIUS)))
}

fn class(own: Option<Class>) -> Cell {
    Cell::text(own.unwrap_or(Class::Structural).word())
}

pub(super) fn programme(desk: &Desk<'_>) -> Rows {
    let (source, total) = (desk.source, &desk.mass.total);
    let head = source.ledger.head.as_ref();
    vec![vec![
        Cell::text(desk.mass.programme.clone()),
        Cell::text(source.state.clone()),
        Cell::maybe(source.commit.as_ref()),
        Cell::text(source.with.join(", ")),
        Cell::text(source.today.to_string()),
        Cell::maybe(head.and_then(|head| head.currency.as_ref())),
        Cell::maybe(head.and_then(|head| head.reached.as_ref())),
        Cell::number(total.kg),
        Cell::number(total.low_kg),
        Cell::number(total.high_kg),
        Cell::number(total.with_growth_kg),
        Cell::text(CAUTION_LINE),
    ]]
}

pub(super) fn materials(desk: &Desk<'_>) -> Rows {
    let one = |entry: &crate::ledger::Entry<crate::record::Material>| {
        let own = &entry.value;
        let density = own.density.as_deref().or(own.dry_density.as_deref());
        let is_prepreg = own.kind == MaterialKind::Prepreg;
        let fibre = own.fibre.as_ref().and_then(|fibre| fibre.areal.as_deref());
        let resin = own.resin.as_ref().map(|resin| &*resin.content).filter(|_| is_prepreg);
        vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::text(own.kind.word()),
            Cell::text(crate::article::designation(entry)),
            scaled(own.areal.as_deref(), 1e3),
            scaled(fibre.filter(|_| is_prepreg), 1e3),
            scaled(resin, 1e2),
            scaled(density, 1.0),
            scaled(own.cured_thickness.as_deref(), 1e3),
            celsius(own.dry_tg.as_deref()),
            celsius(own.wet_tg.as_deref()),
            scaled(own.mass.as_deref(), 1.0),
            Cell::maybe(own.price.as_ref().map(|price| price.text())),
            Cell::maybe(own.supplier.as_ref()),
            Cell::maybe(own.source.as_ref()),
        ]
    };
    desk.source.ledger.materials.values().map(one).collect()
}

pub(super) fn recipes(desk: &Desk<'_>) -> Result<Rows, ArticleError> {
    let ledger = desk.source.ledger;
    let one = |entry: &crate::ledger::Entry<crate::record::Recipe>| {
        let own = &entry.value;
        let laid = stack(ledger, &entry.id)?;
        Ok(vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            class(own.class),
            Cell::text(own.status.unwrap_or(Status::Trial).word()),
            Cell::text(own.process.id()),
            Cell::number(laid.thickness() * 1e3),
            Cell::number(laid.areal() * 1e3),
        ])
    };
    ledger.recipes.values().map(one).collect()
}

pub(super) fn layers(desk: &Desk<'_>) -> Result<Rows, ArticleError> {
    let ledger = desk.source.ledger;
    let mut rows = Rows::new();
    for entry in ledger.recipes.values() {
        for (at, layer) in stack(ledger, &entry.id)?.layers.iter().enumerate() {
            rows.push(vec![
                Cell::text(entry.id.clone()),
                Cell::whole(at + 1),
                Cell::whole(layer.place),
                Cell::maybe(layer.name.as_ref()),
                Cell::text(layer.material.clone()),
                Cell::text(layer.role.word()),
                Cell::number(layer.angle.map(f64::to_degrees)),
                Cell::number(layer.thickness.map(|own| own * 1e3)),
                Cell::number(layer.areal() * 1e3),
                Cell::number(layer.fibre_volume_fraction.map(|own| own * 1e2)),
            ]);
        }
    }
    Ok(rows)
}

pub(super) fn panels(desk: &Desk<'_>) -> Result<Rows, ArticleError> {
    let ledger = desk.source.ledger;
    let weigher = Weigher::new(ledger);
    let counted: BTreeMap<&str, _> = desk.mass.panels.iter().map(|own| (own.panel.as_str(), own)).collect();
    let mut rows = Rows::new();
    for entry in ledger.panels.values() {
        let own = &entry.value;
        let mass = counted.get(entry.id.as_str());
        let each = match mass {
            Some(mass) => mass.each_kg,
            None => weigher.predicted_mass(&entry.id)?,
        };
        let quantity = mass.map_or(0, |mass| mass.quantity);
        let area: f64 = own.zones.iter().map(|zone| zone.area.si()).sum();
        rows.push(vec![
            Cell::text(entry.id.clone()),
            Cell::maybe(own.title.as_ref()),
            Cell::maybe(own.group.as_ref()),
            class(own.class),
            Cell::Truth(own.released),
            Cell::maybe(own.released_for.as_ref()),
            Cell::maybe(own.load_path),
            Cell::maybe(own.tool.as_ref().map(|own| own.id())),
            Cell::text(own.maturity.unwrap_or(Maturity::Estimated).word()),
            Cell::number(area),
            Cell::whole(quantity),
            Cell::number(each),
            Cell::number(quantity as f64 * each),
            Cell::number(mass.map_or(0.0, |mass| mass.kg)),
            Cell::number(mass.map(|mass| mass.low_kg)),
            Cell::number(mass.map(|mass| mass.high_kg)),
            Cell::number(mass.map_or(0.0, |mass| mass.with_growth_kg)),
            Cell::whole(mass.map_or(0, |mass| mass.weighings)),
        ]);
    }
    Ok(rows)
}

pub(super) fn zones(desk: &Desk<'_>) -> Rows {
    let of = |entry: &crate::ledger::Entry<crate::record::Panel>| {
        let one = |zone: &crate::record::Zone| {
            vec![
                Cell::text(entry.id.clone()),
                Cell::text(zone.name.as_str()),
                Cell::number(zone.area.si()),
                Cell::maybe(zone.recipe.as_ref().map(|own| own.id())),
                Cell::maybe(zone.finish.as_ref().map(|own| own.id())),
                Cell::maybe(zone.sheet.as_ref().map(|own| own.material.id())),
            ]
        };
        entry.value.zones.iter().map(one).collect::<Rows>()
    };
    desk.source.ledger.panels.values().flat_map(of).collect()
}

pub(super) fn contributions(desk: &Desk<'_>) -> Rows {
    let mut rows = Rows::new();
    for panel in &desk.mass.panels {
        for (at, own) in panel.contributions.iter().enumerate() {
            rows.push(vec![
                Cell::text(panel.panel.clone()),
                Cell::whole(at + 1),
                Cell::text(own.what.clone()),
                Cell::text(own.place.clone()),
                Cell::number(own.kg),
            ]);
        }
    }
    rows
}

pub(super) fn parts(desk: &Desk<'_>) -> Rows {
    // The same part may stand in an assembly with a position and without.
    let mut sums: BTreeMap<(&str, &str), (u64, f64)> = BTreeMap::new();
    for own in &desk.mass.parts {
        let sum = sums.entry((&own.part, &own.assembly)).or_default();
        *sum = (sum.0 + own.quantity, sum.1 + own.kg);
    }
    let one = |((part, assembly), (quantity, kg)): ((&str, &str), (u64, f64))| {
        vec![Cell::text(part), Cell::text(assembly), Cell::whole(quantity), Cell::number(kg)]
    };
    sums.into_iter().map(one).collect()
}

pub(super) fn margins(desk: &Desk<'_>) -> Result<Rows, ArticleError> {
    let (ledger, evaluation) = (desk.source.ledger, desk.source.evaluation);
    let ids: Vec<&String> = desk.mass.panels.iter().map(|own| &own.panel).collect();
    let found: Result<Vec<Rows>, ArticleError> = ids
        .par_iter()
        .map(|id| {
            let found = evaluation.margins(ledger, id)?;
            let one = |(at, own): (usize, &crate::qualify::margins::Margin)| {
                let layer = own.layer.as_ref();
                vec![
                    Cell::text(id.as_str()),
                    Cell::whole(at + 1),
                    Cell::text(own.check.word()),
                    Cell::text(own.case.clone()),
                    Cell::text(own.place.clone()),
                    Cell::text(own.criterion),
                    Cell::text(own.mode.clone()),
                    layer.map_or(Cell::None, |layer| Cell::whole(layer.number)),
                    Cell::maybe(layer.map(|layer| &layer.material)),
                    Cell::number(layer.and_then(|layer| layer.angle_deg)),
                    Cell::number(own.margin),
                    Cell::text(own.words.clone()),
                    Cell::maybe(own.environment.as_ref()),
                ]
            };
            Ok(found.margins.iter().filter(|own| own.margin.is_finite()).enumerate().map(one).collect())
        })
        .collect();
    Ok(found?.concat())
}

pub(super) fn costs(desk: &Desk<'_>) -> Rows {
    let mut rows = Rows::new();
    for panel in desk.cost.iter().flat_map(|own| &own.panels) {
        for (at, line) in panel.lines.iter().enumerate() {
            let sort = match line.sort {
                CostSort::Material => "material",
                CostSort::Mould => "mould",
                CostSort::Labour => "labour",
            };
            rows.push(vec![
                Cell::text(panel.panel.clone()),
                Cell::whole(at + 1),
                Cell::text(sort),
                Cell::text(line.what.clone()),
                Cell::text(line.place.clone()),
                Cell::number(line.amount),
                Cell::number(line.hours),
            ]);
        }
    }
    rows
}

pub(super) fn unpriced(desk: &Desk<'_>) -> Rows {
    let mut rows = Rows::new();
    for panel in desk.cost.iter().flat_map(|own| &own.panels) {
        for (at, lacks) in panel.each.missing.iter().enumerate() {
            rows.push(vec![Cell::text(panel.panel.clone()), Cell::whole(at + 1), Cell::text(lacks.clone())]);
        }
    }
    rows
}

pub(super) fn weighings(desk: &Desk<'_>) -> Rows {
    let mut rows: BTreeMap<&str, Vec<Cell>> = BTreeMap::new();
    for panel in &desk.mass.panels {
        for own in &panel.residuals {
            rows.insert(
                &own.weighing,
                vec![
                    Cell::text(own.weighing.clone()),
                    Cell::text(panel.panel.clone()),
                    Cell::maybe(own.serial.as_ref()),
                    Cell::maybe(own.on),
                    Cell::text(own.condition.word()),
                    Cell::number(own.weighed_kg),
                    Cell::number(own.predicted_kg),
                    Cell::number(own.kg()),
                    Cell::Truth(own.as_built),
                    Cell::text(own.standing.word()),
                ],
            );
        }
    }
    // Of a panel that is not counted nothing is predicted.
    for entry in desk.source.ledger.weighings.values() {
        rows.entry(&entry.id).or_insert_with(|| {
            vec![
                Cell::text(entry.id.clone()),
                Cell::text(entry.value.panel.id()),
                Cell::maybe(entry.value.serial.as_ref()),
                Cell::maybe(entry.value.on),
                Cell::maybe(entry.value.condition),
                Cell::number(entry.value.mass.si()),
                Cell::None,
                Cell::None,
                Cell::None,
                Cell::None,
            ]
        });
    }
    rows.into_values().collect()
}
