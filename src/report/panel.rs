//! Everything about one panel, as JSON and as text.

use super::cost;
use super::head::CAUTION_LINE;
use super::laminate::{notes, values};
use super::margins::{figure, margin_json, mode_words, uncomputed_json, value_json};
use super::mass::{POUND, decimals};
use super::page::{Frame, Page, count};
use super::table::{Align, Table};
use crate::article::weigh::{CostStatement, MassStatement, PanelMass};
use crate::finish::ColourLimit;
use crate::laminate::Rigidity;
use crate::ledger::Entry;
use crate::qualify::margins::{
    FrameState, HeatReport, Margin, Moisture, PanelMargins, PlateState, ToolCheck,
};
use crate::qualify::verdict::{Duty, DutyKey, Judged};
use crate::quantity::UnitSystem;
use crate::record::{ComputedCheck, Panel};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Contributions to mass that the text lists; `Frame::all` shows them all.
const PIECES_SHOWN: usize = 8;
const DUTIES_SHOWN: usize = 12;

/// Everything that is shown of a panel.
pub struct PanelReport<'a> {
    /// The panel.
    pub panel: &'a Entry<Panel>,
    /// Its mass statement.
    pub mass: MassStatement,
    /// What one costs; `None` where the ledger prices nothing.
    pub cost: Option<CostStatement>,
    /// Margins and what they stand on.
    pub margins: PanelMargins,
    /// Heat by zone, and zones left out with the reason.
    pub heat: (Vec<HeatReport>, Vec<String>),
    /// Moisture by zone.
    pub moisture: Vec<Moisture>,
    /// Checks of its mould, and what is missing for further ones.
    pub tools: (Vec<ToolCheck>, Vec<String>),
    /// Duties with the panel's own verdicts.
    pub duties: Vec<(&'a DutyKey, &'a Judged)>,
}

/// Returns the duties that a panel takes part in, with its own verdicts.
pub fn duties_of<'d>(duties: &'d BTreeMap<DutyKey, Duty>, panel: &str) -> Vec<(&'d DutyKey, &'d Judged)> {
    duties.iter().filter_map(|(key, duty)| Some((key, &**duty.panels.get(panel)?))).collect()
}

/// Returns the panel as a document of schema `panel/1`.
pub fn json(report: &PanelReport<'_>) -> Value {
    let margins = &report.margins;
    let own = report.mass.panels.iter().find(|own| own.panel == report.panel.id);
    json!({
        "schema": "panel/1",
        "panel": report.panel.id,
        "title": report.panel.value.title,
        "released": report.panel.value.released,
        "released_for": report.panel.value.released_for.as_ref().map(ToString::to_string),
        "mass": own.map(|own| json!({
            "each_kg": own.each_kg,
            "contributions": own.contributions.iter().map(|piece| json!({
                "what": piece.what, "where": piece.place, "kg": piece.kg,
            })).collect::<Vec<_>>(),
        })),
        "cost": cost::panel_json(report.cost.as_ref()),
        "least_margin": margins.governing(ComputedCheck::Margins).map(margin_json),
        "margins": margins.margins.iter().map(margin_json).collect::<Vec<_>>(),
        "uncomputed": margins.uncomputed.iter().map(uncomputed_json).collect::<Vec<_>>(),
        "plates": margins.plates.iter().map(|plate| json!({
            "case": plate.case,
            "zone": plate.zone,
            "environment": plate.environment,
            "deflection_mm": plate.deflection_m.map(|own| own * 1e3),
            "deflection_over_thickness": plate.over_thickness,
            "linear": plate.is_linear,
            "buckling_factor": plate.buckling_factor,
        })).collect::<Vec<_>>(),
        "section": margins.section.as_ref().map(section_json),
        "mismatch": margins.mismatch.iter().map(|own| json!({
            "joint": own.joint,
            "environment": own.environment,
            "case": own.case,
            "change_K": own.change,
            "peak_shear_MPa": own.peak_shear / 1e6,
            "sheet_stress_MPa": own.sheet_stress / 1e6,
            "free_shear_strain": own.free_shear_strain,
        })).collect::<Vec<_>>(),
        "temperatures": report.heat.0.iter().map(heat_json).collect::<Vec<_>>(),
        "temperatures_left_out": report.heat.1,
        "moisture": report.moisture.iter().map(|own| json!({
            "zone": own.zone,
            "of": own.of,
            "thickness_mm": own.thickness * 1e3,
            "diffusivity_mm2_s": own.diffusivity * 1e6,
            "t95_both_faces_d": own.both / 86_400.0,
            "t95_one_face_d": own.one / 86_400.0,
            "assumption": own.assumption,
        })).collect::<Vec<_>>(),
        "tooling": report.tools.0.iter().map(|own| json!({
            "tool": own.tool, "what": own.what, "words": own.words, "ok": own.ok, "source": own.source,
        })).collect::<Vec<_>>(),
        "tooling_lacks": report.tools.1,
        "values": margins.used.iter().map(value_json).collect::<Vec<_>>(),
        "duties": report.duties.iter().map(|((showing, subject), judged)| json!({
            "showing": showing,
            "subject": subject.to_string(),
            "verdict": judged.verdict.word(),
            "asks": judged.asks.to_string(),
        })).collect::<Vec<_>>(),
        "assumptions": margins.assumptions,
        "caution": CAUTION_LINE,
    })
}

fn rigidity_json(own: &Rigidity) -> Value {
    json!({
        "EA_N": own.ea,
        "centroid_mm": own.centroid.map(|own| own * 1e3),
        "EI_y_N_mm2": own.ei_y * 1e6,
        "EI_z_N_mm2": own.ei_z * 1e6,
        "EI_yz_N_mm2": own.ei_yz * 1e6,
        "EI_max_N_mm2": own.ei_max * 1e6,
        "EI_min_N_mm2": own.ei_min * 1e6,
        "principal_angle_deg": own.angle.to_degrees(),
    })
}

fn section_json(own: &FrameState) -> Value {
    json!({
        "whole": rigidity_json(&own.rigidity),
        "environment": own.environment,
        "GJ_N_mm2": own.gj * 1e6,
        "cells": own.cells,
        "shear_centre_mm": own.shear_centre.map(|own| own.map(|own| own * 1e3)),
        "pane_lost": own.lost.as_ref().map(|(gj, rigidity)| json!({
            "GJ_N_mm2": gj * 1e6,
            "GJ_whole_over_lost": own.gj / gj,
            "stiffness": rigidity_json(rigidity),
        })),
        "pane_lost_why_not": own.lost_why,
        "walls": own.walls.iter().map(|wall| json!({
            "case": wall.case,
            "environment": wall.environment,
            "wall": wall.wall,
            "kind": wall.kind,
            "shear_flow_N_mm": wall.flow / 1e3,
            "shear_stress_MPa": wall.shear_stress / 1e6,
            "axial_stress_MPa": wall.axial_stress.map(|own| own.map(|own| own / 1e6)),
        })).collect::<Vec<_>>(),
    })
}

fn heat_json(own: &HeatReport) -> Value {
    json!({
        "zone": own.zone,
        "surface": own.surface,
        "absorptance": own.absorptance,
        "ramp_degC": own.ramp - 273.15,
        "structural_degC": own.structural - 273.15,
        "limits": own.limits.iter().map(|(limit, spare)| json!({
            "what": limit.what,
            "degC": limit.temperature - 273.15,
            "against": if limit.is_structural { "structural" } else { "ramp" },
            "spare_K": spare,
        })).collect::<Vec<_>>(),
        "colour_limit": own.colour.as_ref().map(|(limit, governs)| json!({
            "absorptance": match limit {
                ColourLimit::UpTo(most) => Some(*most),
                _ => None,
            },
            "words": colour_words(limit),
            "governs": governs,
        })),
        "lacking": own.lacking,
        "assumptions": own.assumptions,
    })
}

pub(super) fn colour_words(limit: &ColourLimit) -> String {
    match limit {
        // Rounded to the nearest it would be a colour that is too dark.
        ColourLimit::UpTo(most) => format!("up to {:.2}", (most * 100.0 + 1e-9).floor() / 100.0),
        ColourLimit::Any => "any colour".to_string(),
        _ => "no colour".to_string(),
    }
}

/// Returns the panel as text.
pub fn text(report: &PanelReport<'_>, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&summary(report, frame));
    write_mass(&mut page, report);
    write_margins(&mut page, report);
    write_plates(&mut page, report);
    if let Some(section) = &report.margins.section {
        write_section(&mut page, section);
    }
    write_mismatch(&mut page, report);
    write_heat(&mut page, report);
    write_moisture(&mut page, report);
    write_tools(&mut page, report);
    values(&mut page, &report.margins.used);
    cost::write_panel(&mut page, report.cost.as_ref());
    write_duties(&mut page, report);
    if !report.margins.assumptions.is_empty() {
        page.heading("Assumed for the margins");
        for own in &report.margins.assumptions {
            page.hang("  - ", "    ", own);
        }
    }
    page.finish_with_caution()
}

fn mass_word(kg: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{} kg", decimals(kg, 3)),
        UnitSystem::Imperial => format!("{} lb", decimals(kg / POUND, 3)),
    }
}

/// Says what one of a panel counts with, and what it was predicted with where the scale says otherwise.
pub(super) fn each_words(own: &PanelMass, units: UnitSystem) -> String {
    let (one, predicted) = (mass_word(own.one_kg(), units), mass_word(own.each_kg, units));
    match one == predicted {
        true => format!(", {one} each"),
        false => format!(", {one} each by what was weighed, {predicted} predicted"),
    }
}

fn summary(report: &PanelReport<'_>, frame: &Frame) -> String {
    let value = &report.panel.value;
    let title = value.title.as_ref().map_or(String::new(), |title| format!(", {title}"));
    let released = match (value.released, &value.released_for) {
        (true, Some(milestone)) => format!("released for {milestone}"),
        (true, None) => "released".to_string(),
        (false, _) => "not released".to_string(),
    };
    let mass = report.mass.panels.iter().find(|own| own.panel == report.panel.id);
    let mass = mass.map_or(String::new(), |own| each_words(own, frame.units));
    let least = match report.margins.governing(ComputedCheck::Margins) {
        Some(least) => {
            format!("The least margin is {}: {}, by {}.", figure(least.margin), least.case, mode_words(least))
        }
        None => "No margin is computed.".to_string(),
    };
    let missing = match report.margins.uncomputed.len() {
        0 => String::new(),
        n => format!(" {} cannot be computed, see below.", count(n, "further margin")),
    };
    let met = report.duties.iter().filter(|(_, judged)| judged.verdict.is_closed()).count();
    format!(
        "panel/{}{title}: {released}{mass}. {least}{missing} {met} of {} are met or conceded.",
        report.panel.id,
        count(report.duties.len(), "duty")
    )
}

fn write_mass(page: &mut Page<'_>, report: &PanelReport<'_>) {
    let Some(own) = report.mass.panels.iter().find(|own| own.panel == report.panel.id) else { return };
    page.heading("Mass of one, predicted");
    let units = page.frame.units;
    let (unit, factor) = match units {
        UnitSystem::Si => ("kg", 1.0),
        UnitSystem::Imperial => ("lb", POUND),
    };
    let mut pieces: Vec<_> = own.contributions.iter().collect();
    pieces.sort_by(|one, two| two.kg.total_cmp(&one.kg));
    let mut table = Table::new([("what", Align::Left), ("where", Align::Left), (unit, Align::Right)]);
    let shown = page.frame.shown(pieces.len(), PIECES_SHOWN);
    for piece in pieces.iter().take(shown) {
        table.row([piece.what.clone(), piece.place.clone(), decimals(piece.kg / factor, 3)]);
    }
    let rest: f64 = pieces.iter().skip(shown).map(|piece| piece.kg).sum();
    if shown < pieces.len() {
        table.row([format!("{} more", pieces.len() - shown), String::new(), decimals(rest / factor, 3)]);
    }
    table.rule();
    table.row(["in all".to_string(), String::new(), decimals(own.each_kg / factor, 3)]);
    page.table(&table);
}

fn write_margins(page: &mut Page<'_>, report: &PanelReport<'_>) {
    let own = &report.margins;
    page.heading("Margins of safety, on factored loads");
    if own.margins.is_empty() && own.uncomputed.is_empty() {
        page.paragraph(
            "The panel names no loads, no section and no bonded sheet: there is no margin to show.",
        );
        return;
    }
    let shown: Vec<&Margin> =
        if page.frame.all { own.margins.iter().collect() } else { least_by_case(&own.margins) };
    let widest = shown.iter().map(|margin| figure(margin.margin).len()).max().unwrap_or(0);
    for margin in &shown {
        let words = if margin.words.is_empty() { String::new() } else { format!("; {}", margin.words) };
        page.hang(
            &format!("  {:>widest$}  ", figure(margin.margin)),
            &" ".repeat(widest + 6),
            &format!("{}: {} ({}){words}", margin.case, mode_words(margin), margin.criterion),
        );
    }
    if shown.len() < own.margins.len() {
        page.paragraph(&format!(
            "The least of each case and kind of check; --all shows all {}.",
            count(own.margins.len(), "margin")
        ));
    }
    notes(page, shown.into_iter());
    let mut said: Vec<(&str, &str, &str)> = Vec::new();
    for lacking in &own.uncomputed {
        // One gap may stand in the way of several checks.
        let words = (lacking.case.as_str(), lacking.place.as_str(), lacking.why.as_str());
        if said.contains(&words) {
            continue;
        }
        said.push(words);
        let case = if lacking.case.is_empty() { String::new() } else { format!("{}, ", lacking.case) };
        page.hang("  ? ", "    ", &format!("{case}{}: not computed: {}", lacking.place, lacking.why));
    }
}

/// The least margin of each case and kind of check, in the order of the cases.
pub(super) fn least_by_case(margins: &[Margin]) -> Vec<&Margin> {
    let mut least: Vec<&Margin> = Vec::new();
    for margin in margins {
        match least.iter_mut().find(|known| known.case == margin.case && known.check == margin.check) {
            Some(known) if known.margin <= margin.margin => {}
            Some(known) => *known = margin,
            None => least.push(margin),
        }
    }
    least
}

fn write_plates(page: &mut Page<'_>, report: &PanelReport<'_>) {
    let bent: Vec<_> = report.margins.plates.iter().filter(|own| own.deflection_m.is_some()).collect();
    if bent.is_empty() {
        return;
    }
    page.heading("Deflection of the plate at limit pressure alone, core shear included");
    for own in bent {
        let over = own.over_thickness.map_or(String::new(), |share| format!(", {share:.2} of the thickness"));
        let linear = plate_note(own).map_or(String::new(), |note| format!(": {note}"));
        let environment = bracketed(own.environment.as_ref());
        page.hang(
            "  ",
            "    ",
            &format!(
                "{}, zone {}{environment}: {:.2} mm{over}{linear}",
                own.case,
                own.zone,
                own.deflection_m.unwrap_or(0.0) * 1e3
            ),
        );
    }
}

/// What the deflection of a plate under pressure leaves out.
pub(super) fn plate_note(own: &PlateState) -> Option<&'static str> {
    match (own.deflection_m.is_some(), own.is_linear, own.buckling_factor.is_some()) {
        (false, ..) | (true, true, false) => None,
        (true, false, false) => Some("beyond linear theory, so that deflection and moments are overstated"),
        (true, true, true) => Some("what forces in its plane add to that is in the margins, and not in this"),
        (true, false, true) => Some(
            "beyond linear theory with what forces in its plane add to that, which is in the margins, and not in this",
        ),
    }
}

/// The environment of values, in brackets, where there are several.
fn bracketed(environment: Option<&String>) -> String {
    environment.map_or(String::new(), |own| format!(" ({own})"))
}

fn write_section(page: &mut Page<'_>, own: &FrameState) {
    // Where moduli come from tests in several environments, those that make it softest.
    let environment = own.environment.as_ref().map_or(String::new(), |own| format!(", moduli of {own}"));
    page.heading(&format!("Frame section, short loads at room temperature{environment}"));
    let scientific = |value: f64| format!("{value:.4e}");
    let mut table = Table::new([
        ("", Align::Left),
        ("whole", Align::Right),
        ("pane lost", Align::Right),
        ("ratio", Align::Right),
    ]);
    let lost = own.lost.as_ref();
    let mut row = |name: &str, whole: f64, of: Option<f64>| {
        let ratio = of.filter(|own| *own != 0.0).map_or(String::new(), |own| format!("{:.3}", whole / own));
        table.row([name.to_string(), scientific(whole), of.map_or("-".to_string(), scientific), ratio]);
    };
    let r = &own.rigidity;
    row("EA N", r.ea, lost.map(|(_, own)| own.ea));
    row("EI about y N mm2", r.ei_y * 1e6, lost.map(|(_, own)| own.ei_y * 1e6));
    row("EI about z N mm2", r.ei_z * 1e6, lost.map(|(_, own)| own.ei_z * 1e6));
    row("EI greatest N mm2", r.ei_max * 1e6, lost.map(|(_, own)| own.ei_max * 1e6));
    row("EI least N mm2", r.ei_min * 1e6, lost.map(|(_, own)| own.ei_min * 1e6));
    row("GJ N mm2", own.gj * 1e6, lost.map(|(gj, _)| gj * 1e6));
    page.table(&table);
    let centre = own
        .shear_centre
        .map_or(String::new(), |[y, z]| format!("; shear centre {:.1}, {:.1} mm", y * 1e3, z * 1e3));
    page.paragraph(&format!(
        "{}; centroid {:.1}, {:.1} mm; stiffest axis {:.1} degrees from y{centre}.",
        count(own.cells, "cell"),
        r.centroid[0] * 1e3,
        r.centroid[1] * 1e3,
        r.angle.to_degrees()
    ));
    if let Some(why) = &own.lost_why {
        page.hang("  ? ", "    ", &format!("with the pane lost: not computed: {why}"));
    }
    if !page.frame.all || own.walls.is_empty() {
        return;
    }
    let mut table = Table::new([
        ("case", Align::Left),
        ("wall", Align::Left),
        ("flow N/mm", Align::Right),
        ("shear MPa", Align::Right),
        ("axial MPa", Align::Right),
    ]);
    for wall in &own.walls {
        table.row([
            format!("{}{}", wall.case, bracketed(wall.environment.as_ref())),
            format!("{} ({})", wall.wall, wall.kind),
            format!("{:.3}", wall.flow / 1e3),
            format!("{:.3}", wall.shear_stress / 1e6),
            wall.axial_stress
                .map_or("-".to_string(), |[one, two]| format!("{:.2} .. {:.2}", one / 1e6, two / 1e6)),
        ]);
    }
    page.gap();
    page.table(&table);
}

fn write_mismatch(page: &mut Page<'_>, report: &PanelReport<'_>) {
    if report.margins.mismatch.is_empty() {
        return;
    }
    page.heading("Bonds of sheet, unlike expansion (elastic shear lag)");
    for own in &report.margins.mismatch {
        let sense = if own.sheet_stress >= 0.0 { "tension" } else { "compression" };
        page.hang(
            "  ",
            "    ",
            &format!(
                "joint {}{}, {} ({:+.0} K since it set): {:.2} MPa shear at the ends, {:.2} MPa {sense} in the sheet; \
                 {:.2} shear strain if the sheet were free",
                own.joint,
                bracketed(own.environment.as_ref()),
                own.case,
                own.change,
                own.peak_shear / 1e6,
                own.sheet_stress.abs() / 1e6,
                own.free_shear_strain
            ),
        );
    }
}

fn write_heat(page: &mut Page<'_>, report: &PanelReport<'_>) {
    page.heading("Heat");
    for own in &report.heat.0 {
        page.hang(
            "  ",
            "    ",
            &format!(
                "zone {}, {}, absorptance {:.2}: skin {:.1} degC on the ramp, {:.1} degC when loaded",
                own.zone,
                own.surface,
                own.absorptance,
                own.ramp - 273.15,
                own.structural - 273.15
            ),
        );
        for (limit, spare) in &own.limits {
            let rule = if limit.is_tg { " less 28 K" } else { "" };
            page.hang(
                "    ",
                "      ",
                &format!(
                    "{} {:.1} degC{rule}: {spare:+.1} K to spare",
                    limit.what,
                    limit.temperature - 273.15
                ),
            );
        }
        if let Some((limit, governs)) = &own.colour {
            let by = governs.as_ref().map_or(String::new(), |own| format!("; governs: {own}"));
            page.hang(
                "    ",
                "      ",
                &format!("absorptance that keeps all of these: {}{by}", colour_words(limit)),
            );
        }
        for lacking in &own.lacking {
            page.hang("    ? ", "      ", lacking);
        }
    }
    for own in &report.heat.1 {
        page.hang("  - ", "    ", own);
    }
}

fn write_moisture(page: &mut Page<'_>, report: &PanelReport<'_>) {
    if report.moisture.is_empty() {
        return;
    }
    page.heading("Moisture, time to 95 % of equilibrium in the chamber (Fick)");
    for own in &report.moisture {
        let assumed = own.assumption.as_ref().map_or(String::new(), |own| format!("; {own}"));
        page.hang(
            "  ",
            "    ",
            &format!(
                "zone {}, {} of {:.2} mm: {:.1} d with both sides open, {:.1} d with one{assumed}",
                own.zone,
                own.of,
                own.thickness * 1e3,
                own.both / 86_400.0,
                own.one / 86_400.0
            ),
        );
    }
}

fn write_tools(page: &mut Page<'_>, report: &PanelReport<'_>) {
    page.heading("Tooling");
    for own in &report.tools.0 {
        let kept = match own.ok {
            Some(true) => "kept",
            Some(false) => "NOT KEPT",
            None => "for the toolmaker",
        };
        page.hang(
            "  ",
            "    ",
            &format!("tool/{}, {}: {} ({kept}; {})", own.tool, own.what, own.words, own.source),
        );
    }
    for own in &report.tools.1 {
        page.hang("  ? ", "    ", own);
    }
}

fn write_duties(page: &mut Page<'_>, report: &PanelReport<'_>) {
    if report.duties.is_empty() {
        return;
    }
    let open: Vec<_> = report.duties.iter().filter(|(_, judged)| !judged.verdict.is_closed()).collect();
    let listed: Vec<_> = if page.frame.all { report.duties.iter().collect() } else { open };
    page.heading(&format!(
        "Duties{}",
        if page.frame.all { String::new() } else { " that are not met".to_string() }
    ));
    if listed.is_empty() {
        page.paragraph("All are met or conceded.");
    }
    let shown = page.frame.shown(listed.len(), DUTIES_SHOWN);
    for ((showing, subject), judged) in listed.iter().take(shown) {
        page.verdict(judged.verdict, &format!("{showing} {subject}"));
    }
    if shown < listed.len() {
        page.paragraph(&format!("… and {} more; --all shows them", listed.len() - shown));
    }
}
