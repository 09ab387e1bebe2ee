//! Colour: CIELAB values and how far two lie apart.

use super::{FinishError, within};

// Fluorescent colours exceed a lightness of 100; beyond these a figure is a slip.
const LIGHTEST: f64 = 150.0;
const MOST_CHROMA: f64 = 250.0;
/// 25^7 of the CIEDE2000 formulas.
const POWER: f64 = 6_103_515_625.0;

/// A colour in CIELAB, of one illuminant and observer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    /// Lightness L*, 0 black, 100 white.
    pub lightness: f64,
    /// a*, positive towards red.
    pub a: f64,
    /// b*, positive towards yellow.
    pub b: f64,
}

impl Lab {
    /// Returns the colour.
    ///
    /// # Errors
    /// [`FinishError::OutOfRange`] for a lightness outside 0 .. 150, or an a* or b* beyond 250.
    pub fn new(lightness: f64, a: f64, b: f64) -> Result<Self, FinishError> {
        Ok(Self {
            lightness: within("the lightness L*", lightness, 0.0, LIGHTEST, "")?,
            a: within("the coordinate a*", a, -MOST_CHROMA, MOST_CHROMA, "")?,
            b: within("the coordinate b*", b, -MOST_CHROMA, MOST_CHROMA, "")?,
        })
    }

    fn chroma(&self) -> f64 {
        self.a.hypot(self.b)
    }
}

/// Returns the difference of two colours in CIELAB (CIE 1976, delta E*ab): their distance.
///
/// # Source
/// dE = sqrt(dL^2 + da^2 + db^2); ISO/CIE 11664-4, ASTM D2244 (from memory).
pub fn cie76(one: &Lab, other: &Lab) -> f64 {
    (one.lightness - other.lightness).hypot(one.a - other.a).hypot(one.b - other.b)
}

/// A CIEDE2000 difference with every figure on the way to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ciede2000 {
    /// Mean of the chromas C*ab.
    pub mean_chroma: f64,
    /// G, by which a* is stretched.
    pub stretch: f64,
    /// a' of both colours.
    pub a: [f64; 2],
    /// C' of both colours.
    pub chroma: [f64; 2],
    /// h' of both colours, degrees 0 .. 360; 0 where a colour has no chroma.
    pub hue: [f64; 2],
    /// dL', the second colour less the first.
    pub lightness_difference: f64,
    /// dC'.
    pub chroma_difference: f64,
    /// dh', degrees.
    pub hue_angle_difference: f64,
    /// dH'.
    pub hue_difference: f64,
    /// Mean lightness.
    pub mean_lightness: f64,
    /// Mean of the chromas C'.
    pub mean_chroma_stretched: f64,
    /// Mean hue, degrees 0 .. 360.
    pub mean_hue: f64,
    /// T.
    pub hue_weight: f64,
    /// Weighting functions S_L, S_C, S_H.
    pub weights: [f64; 3],
    /// R_T, by which blue hues are turned.
    pub rotation: f64,
    /// dE00.
    pub difference: f64,
}

/// Returns the CIEDE2000 difference of two colours, with kL = kC = kH = 1.
///
/// It does not depend on which comes first. It is meant for small differences, up to about 5 (from memory).
///
/// # Source
/// G. Sharma, W. Wu, E. N. Dalal, *The CIEDE2000 Color-Difference Formula: Implementation Notes, Supplementary
/// Test Data, and Mathematical Observations*, Color Research and Application 30, 2005, equations 2 to 22 (from
/// memory; held against their table 1); ISO/CIE 11664-6.
pub fn ciede2000(one: &Lab, other: &Lab) -> Ciede2000 {
    let both = [one, other];
    let mean_chroma = 0.5 * (one.chroma() + other.chroma());
    let seventh = mean_chroma.powi(7);
    let stretch = 0.5 * (1.0 - (seventh / (seventh + POWER)).sqrt());
    let a = both.map(|lab| (1.0 + stretch) * lab.a);
    let ([a1, a2], [b1, b2]) = (a, both.map(|lab| lab.b));
    let chroma = [a1.hypot(b1), a2.hypot(b2)];
    let hue = [hue_of(a1, b1), hue_of(a2, b2)];
    let ([c1, c2], [h1, h2]) = (chroma, hue);
    let grey = c1 == 0.0 || c2 == 0.0;
    // The shorter way round; at exactly half a turn it is the one without a turn added.
    let apart = h2 - h1;
    let hue_angle_difference = match apart {
        _ if grey => 0.0,
        _ if apart > 180.0 => apart - 360.0,
        _ if apart < -180.0 => apart + 360.0,
        _ => apart,
    };
    let mean_hue = match h1 + h2 {
        // The hue of a grey is none: that of the other colour is taken.
        sum if grey => sum,
        sum if apart.abs() <= 180.0 => 0.5 * sum,
        sum if sum < 360.0 => 0.5 * (sum + 360.0),
        sum => 0.5 * (sum - 360.0),
    };
    let lightness_difference = other.lightness - one.lightness;
    let chroma_difference = c2 - c1;
    let hue_difference = 2.0 * (c1 * c2).sqrt() * (0.5 * hue_angle_difference).to_radians().sin();
    let mean_lightness = 0.5 * (one.lightness + other.lightness);
    let mean_chroma_stretched = 0.5 * (c1 + c2);
    let cosine = |degrees: f64| degrees.to_radians().cos();
    let hue_weight = 1.0 - 0.17 * cosine(mean_hue - 30.0)
        + 0.24 * cosine(2.0 * mean_hue)
        + 0.32 * cosine(3.0 * mean_hue + 6.0)
        - 0.20 * cosine(4.0 * mean_hue - 63.0);
    let from_grey = (mean_lightness - 50.0).powi(2);
    let weights = [
        1.0 + 0.015 * from_grey / (20.0 + from_grey).sqrt(),
        1.0 + 0.045 * mean_chroma_stretched,
        1.0 + 0.015 * mean_chroma_stretched * hue_weight,
    ];
    let turn = 30.0 * (-((mean_hue - 275.0) / 25.0).powi(2)).exp();
    let seventh = mean_chroma_stretched.powi(7);
    let rotation = -2.0 * (seventh / (seventh + POWER)).sqrt() * (2.0 * turn).to_radians().sin();
    let [s_l, s_c, s_h] = weights;
    let (l, c, h) = (lightness_difference / s_l, chroma_difference / s_c, hue_difference / s_h);
    // Rounding may leave a nothing below zero.
    let difference = (l * l + c * c + h * h + rotation * c * h).max(0.0).sqrt();
    Ciede2000 {
        mean_chroma,
        stretch,
        a,
        chroma,
        hue,
        lightness_difference,
        chroma_difference,
        hue_angle_difference,
        hue_difference,
        mean_lightness,
        mean_chroma_stretched,
        mean_hue,
        hue_weight,
        weights,
        rotation,
        difference,
    }
}

/// The hue angle, degrees from 0 to below 360.
fn hue_of(a: f64, b: f64) -> f64 {
    if a == 0.0 && b == 0.0 {
        return 0.0;
    }
    let degrees = b.atan2(a).to_degrees();
    if degrees < 0.0 { degrees + 360.0 } else { degrees }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// G. Sharma, W. Wu, E. N. Dalal 2005, table 1: seventeen of its pairs, among them all that lie where the
    /// hue turns over (read in the transcription of a public colour library and worked out anew).
    const PAIRS: [([f64; 3], [f64; 3], f64); 17] = [
        ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
        ([50.0, 2.8361, -74.02], [50.0, 0.0, -82.7485], 3.4412),
        ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
        ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0009], 7.1792),
        ([50.0, 2.49, -0.001], [50.0, -2.49, 0.001], 7.1792),
        ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0011], 7.2195),
        ([50.0, -0.001, 2.49], [50.0, 0.0009, -2.49], 4.8045),
        ([50.0, 2.5, 0.0], [50.0, 0.0, -2.5], 4.3065),
        ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
        ([50.0, 2.5, 0.0], [56.0, -27.0, -3.0], 31.9030),
        ([50.0, 2.5, 0.0], [50.0, 3.1736, 0.5854], 1.0000),
        ([50.0, 2.5, 0.0], [50.0, 1.8634, 0.5757], 1.0000),
        ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
        ([61.2901, 3.7196, -5.3901], [61.4292, 2.248, -4.962], 1.8731),
        ([22.7233, 20.0904, -46.694], [23.0331, 14.973, -42.5619], 2.0373),
        ([90.8027, -2.0831, 1.441], [91.1528, -1.6435, 0.0447], 1.4441),
        ([6.7747, -0.2908, -2.4247], [5.8714, -0.0985, -2.2286], 0.6377),
    ];

    fn lab([l, a, b]: [f64; 3]) -> Lab {
        Lab::new(l, a, b).unwrap()
    }

    #[test]
    fn published_pairs_come_out_in_both_orders() {
        for (one, other, expected) in PAIRS {
            let (one, other) = (lab(one), lab(other));
            let (there, back) = (ciede2000(&one, &other).difference, ciede2000(&other, &one).difference);
            assert!((there - expected).abs() < 1e-4, "{one:?} {other:?}: {there} against {expected}");
            assert!((back - expected).abs() < 1e-4, "{other:?} {one:?}: {back} against {expected}");
        }
    }

    #[test]
    fn the_same_colour_differs_by_nothing() {
        for (one, ..) in PAIRS {
            assert_eq!((ciede2000(&lab(one), &lab(one)).difference, cie76(&lab(one), &lab(one))), (0.0, 0.0));
        }
        let grey = lab([0.0; 3]);
        assert_eq!(ciede2000(&grey, &grey).difference, 0.0);
    }

    #[test]
    fn the_distance_is_that_of_space() {
        // 2, 3, 6: 4 + 9 + 36 = 49.
        assert!((cie76(&lab([50.0, 1.0, 1.0]), &lab([52.0, 4.0, -5.0])) - 7.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_colour_is_refused() {
        for [l, a, b] in
            [[-1.0, 0.0, 0.0], [f64::NAN, 0.0, 0.0], [50.0, 300.0, 0.0], [50.0, 0.0, f64::INFINITY]]
        {
            assert!(Lab::new(l, a, b).is_err());
        }
    }
}
