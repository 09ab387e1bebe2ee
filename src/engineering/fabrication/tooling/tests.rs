use super::*;
use proptest::prelude::*;

fn close(got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{got} against {expected}");
}

fn bracket(shrinkage_through: f64) -> Corner {
    Corner {
        swept: 90f64.to_radians(),
        expansion_in_plane: 2.5e-6,
        expansion_through: 45e-6,
        temperature_change: -160.0,
        shrinkage_in_plane: 0.0,
        shrinkage_through,
    }
}

#[test]
fn a_right_angle_closes_as_worked_out() {
    // Formula: Nelson and Cairns 1989, Radford and Rennick 2000 (from memory); figures worked out in numpy,
    // five digits behind the point.
    let without = spring_in(&bracket(0.0)).unwrap();
    assert!((without.total().to_degrees() - 0.61644).abs() < 5e-6);
    assert_eq!(without.shrinkage, 0.0);
    let with = spring_in(&bracket(-0.005)).unwrap();
    assert!((with.total().to_degrees() - 1.06870).abs() < 5e-6);
    assert_eq!(with.thermal, without.thermal);
}

#[test]
fn a_glass_tool_grows_a_millimetre_more_than_carbon() {
    // 1 m, 100 K, "about 1.1 mm" for glass on which carbon is cured: common practice, no source; by hand
    // (14 - 3) 1e-6 x 100 x 1000 mm = 1.1 mm.
    close(mismatch(14e-6, 3e-6, 393.15, 293.15, 1.0).unwrap(), 1.1e-3, 1e-12);
    // The tool is made smaller: 1.0003/1.0014.
    close(scale_factor(14e-6, 3e-6, 393.15, 293.15).unwrap(), 1.0003 / 1.0014, 1e-15);
    assert_eq!(scale_factor(3e-6, 3e-6, 393.15, 293.15), Ok(1.0));
}

#[test]
fn the_margin_is_over_the_hottest() {
    let check = check_heat(418.15, &[393.15, 398.15, 388.15], MOULD_RULE.margin).unwrap();
    close(check.hottest, 398.15, 1e-15);
    close(check.needed, 418.15, 1e-15);
    assert!(check.spare.abs() < 1e-9);
    assert!(check_heat(419.0, &[398.15], MOULD_RULE.margin).unwrap().is_kept());
    assert!(!check_heat(418.0, &[398.15], MOULD_RULE.margin).unwrap().is_kept());
    // A board of 95 degC under a mould cured at 40 degC.
    close(check_heat(368.15, &[313.15], PATTERN_RULE.margin).unwrap().spare, 40.0, 1e-12);
    assert!(check_heat(400.0, &[], 20.0).is_err());
}

#[test]
fn moulds_are_counted_up_and_never_by_rounding() {
    let count =
        |parts, cycle, hours, efficiency| moulds_for_rate(parts, cycle, hours, efficiency).unwrap().whole;
    // By hand: 6 x 30/(80 x 0.85) = 2.647; 10 x 4/40 = 1; 0.1 x 3/0.1 = 3, where binary fractions give 3.0000000000000004.
    assert_eq!(count(6.0, 30.0, 80.0, 0.85), 3);
    assert_eq!(count(10.0, 4.0, 40.0, 1.0), 1);
    assert_eq!(count(0.1, 3.0, 0.1, 1.0), 3);
    assert_eq!(count(3.0, 0.1, 0.1, 1.0), 3);
    assert_eq!(count(1e-6, 1.0, 1e6, 1.0), 1);
    assert!(matches!(moulds_for_rate(1e9, 1e12, 1.0, 1e-300), Err(ToolingError::TooMany { .. })));
    close(moulds_for_rate(6.0, 30.0, 80.0, 0.85).unwrap().load, 6.0 * 30.0 / (80.0 * 0.85) / 3.0, 1e-15);
}

#[test]
fn pulls_are_counted_down() {
    assert_eq!(pulls_left(120, 96, 3.0), Ok(Life { left: 24, beyond: 0, weeks: Some(8.0) }));
    assert_eq!(pulls_left(120, 96, 0.0), Ok(Life { left: 24, beyond: 0, weeks: None }));
    assert_eq!(pulls_left(120, 131, 3.0), Ok(Life { left: 0, beyond: 11, weeks: Some(0.0) }));
    assert_eq!(pulls_left(120, 120, 0.0), Ok(Life { left: 0, beyond: 0, weeks: Some(0.0) }));
    assert_eq!(pulls_left(u32::MAX, 0, 1e-310).unwrap().weeks, None);
}

#[test]
fn bad_arguments_are_refused() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e6] {
        assert!(check_heat(bad, &[300.0], 20.0).is_err(), "{bad}");
        assert!(check_heat(400.0, &[300.0, bad], 20.0).is_err(), "{bad}");
        assert!(check_heat(400.0, &[300.0], bad).is_err(), "{bad}");
        assert!(mismatch(bad, 0.0, 400.0, 300.0, 1.0).is_err(), "{bad}");
        assert!(mismatch(0.0, 0.0, 400.0, 300.0, bad).is_err(), "{bad}");
        assert!(scale_factor(0.0, bad, 400.0, 300.0).is_err(), "{bad}");
        assert!(scale_factor(0.0, 0.0, bad, 300.0).is_err(), "{bad}");
        for corner in [
            Corner { swept: bad, ..bracket(0.0) },
            Corner { expansion_through: bad, ..bracket(0.0) },
            Corner { temperature_change: bad, ..bracket(0.0) },
            Corner { shrinkage_in_plane: bad, ..bracket(0.0) },
            Corner { shrinkage_through: bad, ..bracket(0.0) },
        ] {
            assert!(spring_in(&corner).is_err(), "{corner:?}");
        }
        assert!(moulds_for_rate(1.0, 1.0, 1.0, bad).is_err(), "{bad}");
    }
    for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0] {
        assert!(moulds_for_rate(bad, 1.0, 1.0, 1.0).is_err(), "{bad}");
        assert!(moulds_for_rate(1.0, bad, 1.0, 1.0).is_err(), "{bad}");
        assert!(moulds_for_rate(1.0, 1.0, bad, 1.0).is_err(), "{bad}");
        assert!(pulls_left(10, 1, bad).is_err() || bad == 0.0, "{bad}");
    }
    // 1e-3 1/K over 1100 K of cooling leaves nothing of the tool.
    let gone = scale_factor(1e-3, 0.0, 300.0, 1400.0);
    assert!(matches!(gone, Err(ToolingError::Vanishes { what: "the tool", .. })), "{gone:?}");
}

proptest! {
    #[test]
    fn a_tool_made_by_the_factor_fits_at_the_cure(
        tool in -1e-5..1e-4f64, part in -1e-5..1e-4f64, set in 250.0..700.0f64, room in 250.0..320.0f64,
        length in 0.01..50.0f64,
    ) {
        // As long as each other when the part sets; the mismatch is that of a tool not scaled.
        let made = length * scale_factor(tool, part, set, room).unwrap();
        let there = made * (1.0 + tool * (set - room));
        prop_assert!((there - length * (1.0 + part * (set - room))).abs() <= 1e-12 * length);
        let unscaled = length * (1.0 + tool * (set - room)) - length * (1.0 + part * (set - room));
        prop_assert!((unscaled - mismatch(tool, part, set, room, length).unwrap()).abs() <= 1e-12 * length);
    }

    #[test]
    fn moulds_are_enough_and_not_one_too_many(
        parts in 0.01..1e3f64, cycle in 1.0..1e6f64, hours in 1e4..1e7f64, efficiency in 0.05..1.0f64,
    ) {
        let Ok(got) = moulds_for_rate(parts, cycle, hours, efficiency) else { return Ok(()) };
        let can = |moulds: f64| moulds * hours * efficiency / cycle;
        prop_assert!(can(f64::from(got.whole)) >= parts * (1.0 - 1e-8));
        prop_assert!(got.whole == 1 || can(f64::from(got.whole) - 1.0) < parts);
        prop_assert!(got.load > 0.0 && got.load <= 1.0);
    }

    #[test]
    fn equal_strains_turn_no_corner(strain in -1e-4..1e-4, by in -300.0..300.0, swept in 0.0..3.0) {
        let same = Corner {
            swept, expansion_in_plane: strain, expansion_through: strain, temperature_change: by,
            shrinkage_in_plane: strain, shrinkage_through: strain,
        };
        prop_assert_eq!(spring_in(&same).unwrap().total(), 0.0);
    }
}
