//! Heat, moisture and tools beside scipy's root finding, a discretised plate and plain geometry.

use super::{cases, close};
use bondline::fabrication::moisture::{Faces, time_to_fraction, uptake};
use bondline::fabrication::tooling::{Corner, mismatch, moulds_for_rate, scale_factor, spring_in};
use bondline::finish::{
    Balance, ColourLimit, HeatLimit, Left, Skin, Sunshine, WET_GLASS_TRANSITION_MARGIN, darkest, heat_left,
    skin_temperature,
};
use serde_json::Value;

fn list<'v>(all: &'v Value, family: &str, least: usize) -> &'v [Value] {
    let list = all[family].as_array().unwrap();
    assert!(list.len() >= least, "{family}: {} cases", list.len());
    list
}

fn number(case: &Value, key: &str) -> f64 {
    case[key].as_f64().unwrap_or_else(|| panic!("{key} in {case}"))
}

#[test]
fn heat_moisture_and_tools_agree_with_other_ways() {
    let all = cases("tooling.py");
    for case in list(&all, "days", 20) {
        heat(case);
    }
    for case in list(&all, "moisture", 20) {
        let n = |key| number(case, key);
        let faces = if case["faces"] == "both" { Faces::Both } else { Faces::One };
        let got = time_to_fraction(n("fraction"), n("diffusivity"), n("thickness"), faces).unwrap();
        // 800 cells leave some 1e-5.
        close("time to a fraction", got, n("time"), 5e-5, 0.0);
        let back = uptake(n("diffusivity"), n("time"), n("thickness"), faces).unwrap();
        close("uptake", back, n("fraction"), 5e-5, 0.0);
    }
    for case in list(&all, "corners", 20) {
        let n = |key| number(case, key);
        let got = spring_in(&Corner {
            swept: n("swept"),
            expansion_in_plane: n("along"),
            expansion_through: n("through"),
            temperature_change: n("by"),
            shrinkage_in_plane: n("shrink_along"),
            shrinkage_through: n("shrink_through"),
        })
        .unwrap();
        close("corner, thermal", got.thermal, n("thermal"), 1e-10, 1e-14);
        close("corner, shrinkage", got.shrinkage, n("shrinkage"), 1e-10, 1e-14);
    }
    for case in list(&all, "lengths", 20) {
        let n = |key| number(case, key);
        let (tool, part, cure, room) = (n("tool"), n("part"), n("cure"), n("room"));
        close("scale factor", scale_factor(tool, part, cure, room).unwrap(), n("factor"), 1e-12, 0.0);
        let got = mismatch(tool, part, cure, room, n("length")).unwrap();
        close("mismatch", got, n("mismatch"), 1e-9, 1e-14);
    }
    for case in list(&all, "moulds", 20) {
        let n = |key| number(case, key);
        let got =
            moulds_for_rate(n("parts"), n("cycle") * 3600.0, n("hours") * 3600.0, n("efficiency")).unwrap();
        assert_eq!(u64::from(got.whole), case["count"].as_u64().unwrap(), "{case}");
    }
}

fn heat(case: &Value) {
    let n = |key| number(case, key);
    let (emittance, irradiance, ambient, sky) = (n("emittance"), n("irradiance"), n("air"), n("sky"));
    let (ramp_wind, structural_wind) = (n("wind"), n("wind") + 1.0);
    let skin = |wind| {
        let absorptance = n("absorptance");
        skin_temperature(Balance { absorptance, emittance, irradiance, ambient, sky, wind }).unwrap()
    };
    let (ramp, structural) = (skin(ramp_wind), skin(structural_wind));
    close("ramp", ramp, n("ramp"), 1e-10, 0.0);
    close("structural", structural, n("structural"), 1e-10, 0.0);
    let limit = |name: &str, temperature, margin, against| HeatLimit {
        name: name.to_string(),
        temperature,
        margin,
        against,
    };
    let limits = [
        limit("wet Tg", n("tg"), WET_GLASS_TRANSITION_MARGIN, Skin::Ramp),
        limit("hottest test", n("test"), 0.0, Skin::Structural),
        limit("core", n("core"), 0.0, Skin::Ramp),
    ];
    let left = heat_left(&limits, ramp, structural).unwrap();
    let spare: Vec<f64> = left.iter().map(Left::spare).collect();
    let there = [n("tg") - 28.0 - n("ramp"), n("test") - n("structural"), n("core") - n("ramp")];
    for (here, there) in spare.into_iter().zip(there) {
        close("what is left", here, there, 1e-8, 1e-7);
    }
    let day = Sunshine { emittance, irradiance, ambient, sky, ramp_wind, structural_wind };
    match darkest(&limits, &day).unwrap().limit {
        ColourLimit::None => assert_eq!(case["darkest"], "none", "{case}"),
        ColourLimit::Any => assert_eq!(case["darkest"], "any", "{case}"),
        ColourLimit::UpTo(a) => close("darkest", a, n("darkest"), 1e-8, 1e-9),
    }
}
