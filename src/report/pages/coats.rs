//! A coat build to scale, from the laminate outward, with what its tolerances and a repaint may add.

use super::svg::{Anchor, Figure, Svg, cut};
use crate::calc::figure;
use crate::record::Finish;

const WIDTH: f64 = 620.0;
const TALLEST: f64 = 280.0;
const LEFT: f64 = 30.0;
const BAR: f64 = 130.0;
const LABEL: f64 = 16.0;
const TINTS: usize = 6;

/// One coat, µm.
struct Film {
    name: String,
    /// Applied: nominal, low, high.
    applied: [f64; 3],
    /// Taken off again: nominal, low, high.
    removed: [f64; 3],
}

impl Film {
    fn stays(&self) -> f64 {
        (self.applied[0] - self.removed[0]).max(0.0)
    }

    /// The least and the most that may stay.
    fn range(&self) -> [f64; 2] {
        [(self.applied[1] - self.removed[2]).max(0.0), (self.applied[2] - self.removed[1]).max(0.0)]
    }
}

/// Draws the coats of a finish; `None` where it has none.
pub(super) fn coats(finish: &Finish) -> Option<Figure> {
    coats_beside(finish, 0.0)
}

/// The most film that a finish may have, µm.
pub(super) fn most(finish: &Finish) -> f64 {
    crate::article::film_build(finish).1.to_f64()
}

/// As [`coats`], to the scale of another beside it that may have `other` µm.
pub(super) fn coats_beside(finish: &Finish, other: f64) -> Option<Figure> {
    let um = |own: &crate::quantity::Length| [own.si() * 1e6, own.low_si() * 1e6, own.high_si() * 1e6];
    let films: Vec<Film> = finish
        .coats
        .iter()
        .map(|coat| Film {
            name: coat.material.id().to_string(),
            applied: um(&coat.dry_film),
            removed: coat.removed.as_ref().map_or([0.0; 3], um),
        })
        .collect();
    let repaint = finish.repaint.as_ref().map_or([0.0; 3], um);
    let total: f64 = films.iter().map(Film::stays).sum();
    let most: f64 = films.iter().map(|own| own.range()[1]).sum::<f64>() + repaint[2];
    if films.is_empty() || most <= 0.0 || !most.is_finite() {
        return None;
    }
    let scale = TALLEST / most.max(other);
    let rows = films.len() + usize::from(repaint[2] > 0.0);
    let field = TALLEST.max(rows as f64 * LABEL + 20.0);
    let foot = 20.0 + field;
    let mut svg = Svg::new(WIDTH, foot + 30.0);
    let mut y = foot;
    let mut label = f64::INFINITY;
    let mut said = |svg: &mut Svg, middle: f64, words: &str| {
        let place = middle.min(label - LABEL).min(foot - 4.0);
        label = place;
        svg.path("lead", &[(LEFT + BAR, middle), (LEFT + BAR + 40.0, place), (LEFT + BAR + 48.0, place)]);
        let room = WIDTH - LEFT - BAR - 54.0;
        svg.text("", (LEFT + BAR + 52.0, place + 4.0), Anchor::Start, &cut(words, room));
    };
    for (at, own) in films.iter().enumerate() {
        let height = own.stays() * scale;
        y -= height;
        svg.rect(&format!("layer t{}", at % TINTS + 1), (LEFT, y), (BAR, height));
        let [low, high] = own.range();
        // The tolerance of this coat alone, about its upper face.
        let (top, bottom) = (y + height - high * scale, y + height - low * scale);
        let x = LEFT + BAR + 8.0 + 7.0 * (at % 4) as f64;
        if high > low {
            svg.line("limit", (x, top), (x, bottom));
        }
        let taken = if own.removed[0] > 0.0 {
            format!(", {} less {} taken off", figure(own.applied[0]), figure(own.removed[0]))
        } else {
            String::new()
        };
        said(
            &mut svg,
            y + height / 2.0,
            &format!("{}: {} µm ({} to {}){taken}", own.name, figure(own.stays()), figure(low), figure(high)),
        );
    }
    let top = foot - most * scale;
    svg.line("limit", (LEFT - 10.0, top), (LEFT + BAR, top));
    svg.text("wants", (LEFT - 10.0, top - 6.0), Anchor::Start, &format!("at most {} µm", figure(most)));
    if repaint[2] > 0.0 {
        let words = format!("a repair may add {} µm", figure(repaint[2]));
        said(&mut svg, (top + y) / 2.0, &words);
    }
    svg.line("axis", (LEFT - 14.0, foot), (LEFT + BAR + 14.0, foot));
    svg.text("faint", (LEFT - 14.0, foot + 16.0), Anchor::Start, "laminate");
    let caption = format!(
        "The coats to scale from the laminate outward: {} µm as it is painted, {} µm at most with every tolerance and a repaint. A broken stroke beside a coat is its own tolerance.",
        figure(total),
        figure(most)
    );
    let table = films.iter().map(|own| {
        let [low, high] = own.range();
        vec![
            own.name.clone(),
            figure(own.applied[0]),
            figure(own.removed[0]),
            figure(own.stays()),
            figure(low),
            figure(high),
        ]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Coats", &caption),
        caption: caption.clone(),
        columns: vec![
            ("coat", false),
            ("applied, µm", true),
            ("taken off, µm", true),
            ("stays, µm", true),
            ("at least, µm", true),
            ("at most, µm", true),
        ],
        rows: table.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::article::fixture::ledger;

    #[test]
    fn a_build_by_hand() {
        // The four coats of the unit test of finish/film.rs, added up on paper: 100 µm as painted,
        // 55 + 33 + 25 + 50 + 60 = 223 µm at most.
        let text = "
finishes:
  white:
    repaint: 60 um
    coats:
      - {material: filler, dry_film: 40 um (0 .. 80 um), removed: 25 um}
      - {material: primer, dry_film: 25 um +/- 8 um}
      - {material: base, dry_film: 20 um +/- 5 um}
      - {material: clear, dry_film: 45 um +/- 10 um, removed: 5 um}
  none: {coats: []}
";
        let all = ledger(text);
        let own = coats(&all.finishes["white"].value).unwrap();
        assert!(own.caption.contains("100 µm as it is painted, 223 µm at most"), "{}", own.caption);
        assert_eq!(own.rows[3], ["clear", "45", "5", "40", "30", "50"]);
        assert!(coats(&all.finishes["none"].value).is_none());
    }
}
