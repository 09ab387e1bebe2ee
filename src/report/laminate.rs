//! A recipe's stack and mechanics, as JSON and as text.

use super::head::CAUTION_LINE;
use super::margins::{degrees, figure, margin_json, mode_words, uncomputed_json, value_json};
use super::page::{Frame, Page, count};
use super::table::{Align, Table};
use crate::article::LayerRole;
use crate::laminate::{Matrix3, Moduli};
use crate::qualify::margins::{DesignValue, LaidUp, LaminateReport, Mechanics, Origin, UsedMargin};
use serde_json::{Value, json};

/// Values shown; `Frame::all` shows them all.
const VALUES_SHOWN: usize = 12;

/// Returns the laminate as a document of schema `laminate/1`: `design.md` section 9.
pub fn json(report: &LaminateReport) -> Value {
    let scaled = |matrix: &Matrix3, scale: f64| -> Value {
        json!(
            matrix
                .iter()
                .map(|row| row.iter().map(|own| own * scale).collect::<Vec<_>>())
                .collect::<Vec<_>>()
        )
    };
    let known = report.mechanics.as_ref().ok();
    let of = |pick: &dyn Fn(&Mechanics) -> Value| known.map_or(Value::Null, pick);
    json!({
        "schema": "laminate/1",
        "recipe": report.recipe,
        "code": report.code,
        "thickness_mm": report.thickness * 1e3,
        "areal_mass_g_m2": report.areal_mass * 1e3,
        "layers": report.laid.layers.iter().map(|layer| json!({
            "material": layer.material,
            "name": layer.name,
            "role": layer.role.word(),
            "angle_deg": layer.angle.map(f64::to_degrees),
            "thickness_mm": layer.thickness.map(|own| own * 1e3),
            "areal_mass_g_m2": layer.areal() * 1e3,
            "fibre_volume_fraction": layer.fibre_volume_fraction,
        })).collect::<Vec<_>>(),
        "A_N_mm": of(&|own| scaled(&own.stiffness.a, 1e-3)),
        "B_N": of(&|own| scaled(&own.stiffness.b, 1.0)),
        "D_N_mm": of(&|own| scaled(&own.stiffness.d, 1e3)),
        "effective": of(&|own| moduli_json(&own.in_plane)),
        "effective_bending": of(&|own| moduli_json(&own.bending)),
        "expansion_1_K": of(&|own| json!(own.compliance.expansion)),
        "curvature_after_cure_1_m": of(&|own| own.after_cure.map_or(Value::Null, |(_, bent)| json!(bent.curvature))),
        "symmetric": of(&|own| json!(own.symmetric)),
        "balanced": of(&|own| json!(own.balanced)),
        "carrying_thickness_mm": report.laid.carrying_thickness() * 1e3,
        "loads": report.loads.iter().map(|own| {
            let mut row = margin_json(&own.margin);
            if let Some(map) = row.as_object_mut() {
                let layer = own.margin.layer.as_ref().map(|layer| layer.number);
                map.insert("name".to_string(), json!(own.margin.case));
                map.insert("panel".to_string(), json!(own.panel));
                let critical = map.insert("layer".to_string(), json!(layer));
                map.insert("critical".to_string(), critical.unwrap_or(Value::Null));
            }
            row
        }).collect::<Vec<_>>(),
        "uncomputed": report.uncomputed.iter().map(|(panel, own)| {
            let mut row = uncomputed_json(own);
            if let Some(map) = row.as_object_mut() {
                map.insert("panel".to_string(), json!(panel));
            }
            row
        }).collect::<Vec<_>>(),
        "values": report.laid.used.iter().map(value_json).collect::<Vec<_>>(),
        "lacking": report.laid.lacking.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "uncounted": report.laid.uncounted,
        "environment": report.environment,
        "panels": report.panels,
        "caution": CAUTION_LINE,
    })
}

fn moduli_json(own: &Moduli) -> Value {
    json!({
        "Ex_GPa": own.ex / 1e9,
        "Ey_GPa": own.ey / 1e9,
        "Gxy_GPa": own.gxy / 1e9,
        "nu_xy": own.nu_xy,
        "nu_yx": own.nu_yx,
    })
}

/// Returns the laminate as text.
pub fn text(report: &LaminateReport, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    let title = report.title.as_ref().map_or(String::new(), |title| format!(", {title}"));
    let used = match report.panels.as_slice() {
        [] => "no panel uses it".to_string(),
        panels => format!("used by {}", panels.join(", ")),
    };
    let least = report.loads.iter().min_by(|one, two| one.margin.margin.total_cmp(&two.margin.margin));
    let least = least.map_or(String::new(), |own| {
        format!(
            " The least margin is {}, under {} of {}.",
            figure(own.margin.margin),
            own.margin.case,
            own.panel
        )
    });
    page.paragraph(&format!(
        "recipe/{}{title}: {}, {:.2} mm, {:.0} g/m2; {used}.{least}",
        report.recipe,
        count(report.laid.layers.len(), "layer"),
        report.thickness * 1e3,
        report.areal_mass * 1e3
    ));
    page.paragraph(&format!("Orientation code (after ASTM D6507, from memory): {}", report.code));
    page.heading("Stack, from the tool face; the bars are to scale");
    for line in drawing(&report.laid, frame.columns()) {
        page.line(&line);
    }
    if let Some(environment) = &report.environment {
        page.paragraph(&format!(
            "Design values come from several environments; those of {environment} are shown here, the margins below \
             are worked out for each."
        ));
    }
    stiffness(&mut page, report);
    loads(&mut page, report);
    values(&mut page, &report.laid.used);
    if !report.laid.lacking.is_empty() {
        page.heading("Missing");
        for lacking in &report.laid.lacking {
            page.hang("  - ", "    ", &lacking.to_string());
        }
    }
    if !report.laid.uncounted.is_empty() {
        page.heading("Left out of the stiffness, or taken");
        for own in &report.laid.uncounted {
            page.hang("  - ", "    ", own);
        }
    }
    page.finish_with_caution()
}

/// The mark that a layer is hatched with: by angle for plies, by role for the rest.
fn hatch(role: LayerRole, angle: Option<f64>) -> char {
    match role {
        LayerRole::Ply => {
            let degrees = angle.map_or(0.0, f64::to_degrees).rem_euclid(180.0);
            // Half-open octants round 0, 45, 90 and 135 degrees.
            if !(22.5..157.5).contains(&degrees) {
                '='
            } else if degrees < 67.5 {
                '/'
            } else if degrees < 112.5 {
                '|'
            } else {
                '\\'
            }
        }
        LayerRole::Core => 'o',
        LayerRole::Film => '~',
        LayerRole::Mesh => '#',
        LayerRole::Surfacing => ':',
        LayerRole::Other => '?',
    }
}

/// Draws a stack: a row a layer, its place through the thickness as a bar to scale.
fn drawing(laid: &LaidUp, columns: usize) -> Vec<String> {
    let total: f64 = laid.layers.iter().filter_map(|layer| layer.thickness).sum();
    let names: Vec<String> = laid
        .layers
        .iter()
        .enumerate()
        .map(|(at, layer)| {
            let angle = layer.angle.map_or("-".to_string(), |angle| degrees(angle.to_degrees()));
            let name = layer.name.clone().unwrap_or_default();
            let thickness = layer.thickness.map_or("?".to_string(), |own| format!("{:.3}", own * 1e3));
            format!("{:>3} {name:<4} {:<20} {angle:>4} {thickness:>7}", at + 1, layer.material)
        })
        .collect();
    let widest = names.iter().map(|own| own.chars().count()).max().unwrap_or(0);
    let room = columns.saturating_sub(widest + 4).clamp(10, 60);
    let mut lines = vec![format!("{:>3} {:<4} {:<20} {:>4} {:>7}", "", "", "material", "deg", "mm")];
    let mut z = 0.0;
    for (name, layer) in names.iter().zip(&laid.layers) {
        let own = layer.thickness.unwrap_or(0.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
        let column = |z: f64| if total > 0.0 { (z / total * room as f64).round() as usize } else { 0 };
        // What is thinner than a mark still gets one, within the frame.
        let from = column(z).min(room.saturating_sub(1));
        let to = column(z + own).max(from + 1);
        let mark = hatch(layer.role, layer.angle);
        let bar: String = (0..room).map(|at| if (from..to).contains(&at) { mark } else { ' ' }).collect();
        lines.push(format!("{name}  |{bar}|").trim_end().to_string());
        z += own;
    }
    let marks = "plies: = along x, / and \\ across, | along y; o core, ~ film, # mesh, : surfacing";
    lines.extend(super::page::fold(marks, columns));
    lines
}

fn stiffness(page: &mut Page<'_>, report: &LaminateReport) {
    let own = match &report.mechanics {
        Ok(own) => own,
        Err(why) => {
            page.heading("Stiffness");
            page.paragraph(&format!("Not computed: {why}."));
            return;
        }
    };
    page.heading("Stiffness about the middle of what carries");
    page.paragraph(&format!(
        "Over {:.3} mm from the first to the last layer that carries; z from the tool face inward, x at 0 degrees, \
         shear strain engineering, curvature -w,xx.",
        report.laid.carrying_thickness() * 1e3
    ));
    let mut table =
        Table::new([("", Align::Left), ("x", Align::Right), ("y", Align::Right), ("xy", Align::Right)]);
    for (name, matrix, scale) in [
        ("A N/mm", &own.stiffness.a, 1e-3),
        ("B N", &own.stiffness.b, 1.0),
        ("D N mm", &own.stiffness.d, 1e3),
    ] {
        let largest = matrix.iter().flatten().fold(0.0_f64, |most, own| most.max(own.abs()));
        let over = largest.max(match name {
            // Coupling is measured by what it couples.
            "B N" => (own.stiffness.a[0][0] * own.stiffness.d[0][0]).sqrt(),
            _ => 0.0,
        });
        for (row, word) in matrix.iter().zip(["x", "y", "xy"]) {
            let cell = |value: f64| {
                if value.abs() < 1e-9 * over { "0".to_string() } else { significant(value * scale) }
            };
            table.row([format!("{name}, {word}"), cell(row[0]), cell(row[1]), cell(row[2])]);
        }
    }
    page.table(&table);
    let mut table = Table::new([
        ("effective", Align::Left),
        ("Ex GPa", Align::Right),
        ("Ey GPa", Align::Right),
        ("Gxy GPa", Align::Right),
        ("nu xy", Align::Right),
    ]);
    for (name, own) in [("in the plane", &own.in_plane), ("in bending", &own.bending)] {
        table.row([
            name.to_string(),
            significant(own.ex / 1e9),
            significant(own.ey / 1e9),
            significant(own.gxy / 1e9),
            format!("{:.4}", own.nu_xy),
        ]);
    }
    page.gap();
    page.table(&table);
    let word = |holds: bool, one: &'static str, other: &'static str| if holds { one } else { other };
    page.gap();
    page.paragraph(&format!(
        "What carries is {} and {}.",
        word(own.symmetric, "symmetric", "not symmetric: it bends under forces in its plane"),
        word(own.balanced, "balanced", "not balanced: it shears under forces along x or y")
    ));
    match &own.after_cure {
        Some((change, bent)) => {
            let [x, y, xy] = own.compliance.expansion;
            let curved = bent.curvature.iter().any(|own| own.abs() > 1e-6);
            let after = if curved {
                let [kx, ky, kxy] = bent.curvature;
                format!(
                    " After cure, {change:.0} K down to room temperature, a free flat plate curves by {kx:.4}, {ky:.4}, \
                     {kxy:.4} 1/m in x, y and twist (linear; shrinkage and the tool's pull left out)."
                )
            } else {
                " After cure a free flat plate stays flat.".to_string()
            };
            // A shear that is rounding is none.
            let micro = |own: f64| if own.abs() < 5e-9 { 0.0 } else { own * 1e6 };
            page.paragraph(&format!(
                "Expansion {:.2}, {:.2}, {:.2} um/m/K in x, y, xy.{after}",
                micro(x),
                micro(y),
                micro(xy)
            ));
        }
        None => {
            page.paragraph("Expansion is not known for every layer that carries, or the process has no cure.")
        }
    }
}

/// Writes six significant digits.
pub(super) fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_string();
    }
    #[allow(clippy::cast_possible_truncation)]
    let place = value.abs().log10().floor() as i32;
    let after = usize::try_from((5 - place).clamp(0, 9)).unwrap_or(0);
    format!("{value:.after$}")
}

fn loads(page: &mut Page<'_>, report: &LaminateReport) {
    if report.loads.is_empty() && report.uncomputed.is_empty() {
        page.heading("Margins of safety");
        page.paragraph("No panel that uses it names loads on it, so there is no margin to show.");
        return;
    }
    page.heading("Margins of safety, on the factored loads of the panels that use it");
    // The least of each panel, case and place, as on the panel's own page; all where they are asked for.
    let mut shown: Vec<&UsedMargin> = Vec::new();
    for own in &report.loads {
        let same = |known: &&mut &UsedMargin| {
            let (one, two) = (&known.margin, &own.margin);
            known.panel == own.panel
                && (&one.case, &one.place, one.check) == (&two.case, &two.place, two.check)
        };
        match shown.iter_mut().find(same).filter(|_| !page.frame.all) {
            Some(known) if known.margin.margin <= own.margin.margin => {}
            Some(known) => *known = own,
            None => shown.push(own),
        }
    }
    let widest = shown.iter().map(|own| figure(own.margin.margin).len()).max().unwrap_or(0);
    for own in &shown {
        page.hang(
            &format!("  {:>widest$}  ", figure(own.margin.margin)),
            &" ".repeat(widest + 6),
            &format!(
                "{}, {}: {} ({})",
                own.panel,
                own.margin.case,
                mode_words(&own.margin),
                own.margin.criterion
            ),
        );
    }
    if shown.len() < report.loads.len() {
        page.paragraph(&format!(
            "The least of each case, place and kind of check; --all shows all {}.",
            count(report.loads.len(), "margin")
        ));
    }
    notes(page, shown.iter().map(|own| &own.margin));
    for (panel, lacking) in &report.uncomputed {
        page.hang(
            "  ? ",
            "    ",
            &format!("panel/{panel}, {}, {}: not computed: {}", lacking.case, lacking.place, lacking.why),
        );
    }
}

/// Says once what several margins have noted.
pub(super) fn notes<'m>(
    page: &mut Page<'_>,
    margins: impl Iterator<Item = &'m crate::qualify::margins::Margin>,
) {
    let mut seen: Vec<(String, Vec<&'static str>)> = Vec::new();
    let mut unmet: Vec<String> = Vec::new();
    for margin in margins {
        for note in &margin.notes {
            match seen.iter_mut().find(|(known, _)| known == note) {
                Some((_, criteria)) if criteria.contains(&margin.criterion) => {}
                Some((_, criteria)) => criteria.push(margin.criterion),
                None => seen.push((note.clone(), vec![margin.criterion])),
            }
        }
        for rest in margin.unmet() {
            let words = format!("showing/{} on {} is {}", rest.showing, rest.subject, rest.verdict);
            if !unmet.contains(&words) {
                unmet.push(words);
            }
        }
    }
    for (note, criteria) in seen {
        page.hang("  - ", "    ", &format!("{}: {note}", criteria.join(", ")));
    }
    for words in unmet {
        page.hang("  ! ", "    ", &format!("a margin rests on what is not in force: {words}"));
    }
}

/// What a design value is, with its unit, and where it comes from.
pub(super) fn value_words(value: &DesignValue) -> [String; 2] {
    let strain = value.what.starts_with("design strain");
    let number = if strain {
        format!("{:.0} ustrain", value.value * 1e6)
    } else {
        format!("{:.1} MPa", value.value / 1e6)
    };
    let from = match &value.from {
        Origin::Typed => "typed in".to_string(),
        Origin::Evidence(own) => format!(
            "{}{} of {} ({}), {}, showing/{} {}{}{}",
            own.statistic,
            own.method.map_or(String::new(), |method| format!(" ({method})")),
            own.n,
            own.evidence.join(", "),
            own.environment,
            own.showing,
            own.verdict,
            if own.estimate { ", an estimate" } else { "" },
            own.normalised.as_ref().map_or(String::new(), |to| format!(", normalised to {to}"))
        ),
    };
    [number, from]
}

/// Lists design values with where they come from.
pub(super) fn values(page: &mut Page<'_>, used: &[DesignValue]) {
    if used.is_empty() {
        return;
    }
    page.heading("Design values in force");
    let shown = page.frame.shown(used.len(), VALUES_SHOWN);
    for value in used.iter().take(shown) {
        let [number, from] = value_words(value);
        page.hang("  ", "    ", &format!("{} {number}: {from}", value.what));
    }
    if shown < used.len() {
        page.paragraph(&format!("… and {} more; --all shows them", used.len() - shown));
    }
}
