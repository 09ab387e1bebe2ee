//! How far two colours lie apart, by both formulas in use.

use super::{At, Checks, Refusals, Topic, Work};
use crate::finish::{Ciede2000, Lab, cie76, ciede2000};
use crate::quantity::Ratio;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A colour in CIELAB, as the instrument shows it.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Colour {
    /// Lightness L*, 0 black to 100 white.
    lightness: Ratio,
    /// Coordinate a*, positive towards red.
    a: Ratio,
    /// Coordinate b*, positive towards yellow.
    b: Ratio,
}

/// Inputs of `calc colour-difference`: two readings of one instrument, illuminant and observer.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ColourDifference {
    /// The colour before, or the standard.
    before: Colour,
    /// The colour after.
    after: Colour,
}

impl Topic for ColourDifference {
    const NAME: &'static str = "colour-difference";
    const ABOUT: &'static str = "how far two colours lie apart, by the distance in CIELAB and by CIEDE2000";
    const SOURCE: &'static str = "dE*ab = sqrt(dL^2 + da^2 + db^2): ASTM D2244 (from memory); CIEDE2000 with kL = kC = \
        kH = 1: G. Sharma, W. Wu, E. N. Dalal 2005 (formulas from memory, held against pairs of their table 1)";
    const CAUTION: &'static str = "Readings of two instruments, illuminants, observers or measuring geometries are not to be \
        compared; CIEDE2000 is meant for small differences.";
    const SAMPLE: &'static str = "\
# White of the invented Sanderling, new and after 12 months outdoors; both readings are invented
before: {lightness: 94.2, a: -0.9, b: 1.8}
after: {lightness: 92.9, a: -0.6, b: 4.1}
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (name, colour) in [("before", &self.before), ("after", &self.after)] {
            let l = &colour.lightness;
            let (field, range) = (format!("{name}.lightness"), "from 0 to 150");
            checks.wants((0.0..=150.0).contains(&l.si()), &field, l.text(), range);
            for (key, one) in [("a", &colour.a), ("b", &colour.b)] {
                checks.wants(
                    one.si().abs() <= 250.0,
                    &format!("{name}.{key}"),
                    one.text(),
                    "from -250 to 250",
                );
            }
        }
        checks.done()?;
        let lab = |colour: &Colour| Lab::new(colour.lightness.si(), colour.a.si(), colour.b.si());
        let (before, after) = (lab(&self.before).at("before")?, lab(&self.after).at("after")?);
        let mut work = Work::new();
        let plain = cie76(&before, &after);
        let text = "sqrt(({} - {})^2 + ({} - {})^2 + ({} - {})^2)";
        let (l, a, b) = (before.lightness, before.a, before.b);
        let numbers = [after.lightness, l, after.a, a, after.b, b];
        work.step("dE*ab", "sqrt(dL^2 + da^2 + db^2)", text, &numbers, plain, "");
        let found = ciede2000(&before, &after);
        steps(&mut work, &before, &after, &found);
        work.result("cie76", plain, "");
        work.result("ciede2000", found.difference, "");
        let moved = [
            ("lighter", "darker", after.lightness - l),
            ("redder", "greener", after.a - a),
            ("yellower", "bluer", after.b - b),
        ];
        let words: Vec<&str> = moved
            .iter()
            .filter(|(.., by)| *by != 0.0)
            .map(|(up, down, by)| if *by > 0.0 { *up } else { *down })
            .collect();
        if let Some((last, others)) = words.split_last() {
            let and = if others.is_empty() { "" } else { " and " };
            work.note(format!("The second colour is {}{and}{last} than the first.", others.join(", ")));
        }
        Ok(work)
    }
}

/// The steps to CIEDE2000, in the order of the paper.
fn steps(work: &mut Work, before: &Lab, after: &Lab, found: &Ciede2000) {
    let text = "(sqrt({}^2 + {}^2) + sqrt({}^2 + {}^2))/2";
    let numbers = [before.a, before.b, after.a, after.b];
    work.step("C_m", "mean of sqrt(a^2 + b^2)", text, &numbers, found.mean_chroma, "");
    let (c, g) = (found.mean_chroma, found.stretch);
    let formula = "(1 - sqrt(C_m^7/(C_m^7 + 25^7)))/2";
    work.step("G", formula, "(1 - sqrt({}^7/({}^7 + 25^7)))/2", &[c, c], g, "");
    let ([a1, a2], [c1, c2], [h1, h2]) = (found.a, found.chroma, found.hue);
    for (n, own, lab, a, chroma, hue) in [(1, before.a, before, a1, c1, h1), (2, after.a, after, a2, c2, h2)]
    {
        work.step(format!("a'_{n}"), "(1 + G) a", "(1 + {}) x {}", &[g, own], a, "");
        let formula = "sqrt(a'^2 + b^2)";
        work.step(format!("C'_{n}"), formula, "sqrt({}^2 + {}^2)", &[a, lab.b], chroma, "");
        work.step(
            format!("h'_{n}"),
            "angle of (a', b)",
            "[from 0 to 360, counter-clockwise]",
            &[],
            hue,
            "deg",
        );
    }
    let dl = found.lightness_difference;
    work.step("dL'", "L_2 - L_1", "{} - {}", &[after.lightness, before.lightness], dl, "");
    let dc = found.chroma_difference;
    work.step("dC'", "C'_2 - C'_1", "{} - {}", &[c2, c1], dc, "");
    let dh = found.hue_angle_difference;
    work.step("dh'", "h'_2 - h'_1, the shorter way round", "[no more than half a turn]", &[], dh, "deg");
    let big = found.hue_difference;
    let text = "2 x sqrt({} x {}) x sin({}/2)";
    work.step("dH'", "2 sqrt(C'_1 C'_2) sin(dh'/2)", text, &[c1, c2, dh], big, "");
    let (l, c, h) = (found.mean_lightness, found.mean_chroma_stretched, found.mean_hue);
    work.step("L'_m", "mean lightness", "({} + {})/2", &[before.lightness, after.lightness], l, "");
    work.step("C'_m", "mean of C'", "({} + {})/2", &[c1, c2], c, "");
    work.step(
        "h'_m",
        "mean of h', the shorter way round",
        "[of a grey and a colour: that of the colour]",
        &[],
        h,
        "deg",
    );
    let t = found.hue_weight;
    let formula = "1 - 0.17 cos(h'_m - 30) + 0.24 cos(2 h'_m) + 0.32 cos(3 h'_m + 6) - 0.20 cos(4 h'_m - 63)";
    let text =
        "1 - 0.17 x cos({} - 30) + 0.24 x cos(2 x {}) + 0.32 x cos(3 x {} + 6) - 0.2 x cos(4 x {} - 63)";
    work.step("T", formula, text, &[h; 4], t, "");
    let [s_l, s_c, s_h] = found.weights;
    let formula = "1 + 0.015 (L'_m - 50)^2/sqrt(20 + (L'_m - 50)^2)";
    let text = "1 + 0.015 x ({} - 50)^2/sqrt(20 + ({} - 50)^2)";
    work.step("S_L", formula, text, &[l, l], s_l, "");
    work.step("S_C", "1 + 0.045 C'_m", "1 + 0.045 x {}", &[c], s_c, "");
    work.step("S_H", "1 + 0.015 C'_m T", "1 + 0.015 x {} x {}", &[c, t], s_h, "");
    let formula = "-2 sqrt(C'_m^7/(C'_m^7 + 25^7)) sin(60 exp(-((h'_m - 275)/25)^2))";
    let text = "-2 x sqrt({}^7/({}^7 + 25^7)) x sin(60 x exp(0 - (({} - 275)/25)^2))";
    work.step("R_T", formula, text, &[c, c, h], found.rotation, "");
    let formula = "sqrt((dL'/S_L)^2 + (dC'/S_C)^2 + (dH'/S_H)^2 + R_T (dC'/S_C)(dH'/S_H))";
    let text = "sqrt(({}/{})^2 + ({}/{})^2 + ({}/{})^2 + {} x ({}/{}) x ({}/{}))";
    let numbers = [dl, s_l, dc, s_c, big, s_h, found.rotation, dc, s_c, big, s_h];
    work.step("dE00", formula, text, &numbers, found.difference, "");
}
