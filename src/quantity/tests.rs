use super::*;

fn areal(text: &str) -> Quantity {
    Quantity::parse(Kind::ArealMass, text).unwrap()
}

#[test]
fn reads_metric_and_imperial_exactly() {
    assert_eq!(areal("200 g/m2").canonical("g/m2"), "200 g/m2");
    assert_eq!(areal("0.2 kg/m²").canonical("g/m2"), "200 g/m2");
    // NIST SP 811 (2008), appendix B.8: 1 oz/yd2 = 33.90575 g/m2.
    assert_eq!(areal("1 oz/yd2").canonical("g/m2"), "33.9057 g/m2");
    assert!((areal("1 oz/yd2").si() - 0.033_905_75).abs() < 5e-9);
    // NIST SP 811: 1 psi = 6894.757 Pa; 1 lb/ft3 = 16.01846 kg/m3.
    assert!((Quantity::parse(Kind::Stress, "1 psi").unwrap().si() - 6894.757).abs() < 5e-4);
    assert!((Quantity::parse(Kind::Density, "1 lb/ft3").unwrap().si() - 16.018_46).abs() < 5e-6);
    let boiling = Quantity::parse(Kind::Temperature, "212 degF").unwrap();
    assert_eq!(boiling.canonical("degC"), "100 degC");
    assert!((boiling.si() - 373.15).abs() < 1e-9);
}

#[test]
fn fractions_take_percent_points_and_bare_numbers() {
    let percent = Quantity::parse(Kind::Fraction, "38 % +/- 2 %").unwrap();
    assert!((percent.low_si() - 0.36).abs() < 1e-12);
    assert_eq!(percent.canonical_high("%").unwrap(), "40 %");
    let bare = Quantity::parse(Kind::Fraction, "0.38 +/- 2 points").unwrap();
    assert_eq!(bare.canonical("%"), "38 %");
    assert_eq!(bare.canonical_low("%").unwrap(), "36 %");
}

#[test]
fn limits_and_tolerances() {
    let film = Quantity::parse(Kind::Length, "60 um (45 .. 80 um)").unwrap();
    assert!((film.low_si() - 45e-6).abs() < 1e-12 && (film.high_si() - 80e-6).abs() < 1e-12);
    assert_eq!(areal("200 g/m2 ± 4 %").canonical_low("g/m2").unwrap(), "192 g/m2");
    assert_eq!(areal("200 g/m2 +/- 8 g/m2").canonical_high("g/m2").unwrap(), "208 g/m2");
    let oven = Quantity::parse(Kind::Temperature, "120 degC +/- 5 K").unwrap();
    assert!((oven.high_si() - 398.15).abs() < 1e-9);
    assert!(Quantity::parse(Kind::Length, "90 um (45 .. 80 um)").is_err());
    assert!(Quantity::parse(Kind::Length, "60 um (45 .. 80)").is_err());
}

#[test]
fn errors_show_the_mend() {
    let bare = Quantity::parse(Kind::ArealMass, "200").unwrap_err();
    assert!(matches!(bare, QuantityError::BareNumber { .. }), "{bare}");
    assert!(bare.help().contains("`200 g/m2`"), "{}", bare.help());
    let wrong = Quantity::parse(Kind::ArealMass, "200 mm").unwrap_err();
    assert!(wrong.to_string().contains("measures length"), "{wrong}");
    let misspelt = Quantity::parse(Kind::Length, "0.22 mn").unwrap_err();
    assert!(misspelt.help().contains("did you mean `0.22 mm`"), "{}", misspelt.help());
    for bad in ["", "nan mm", "inf mm", "1e999 mm", "mm", "1,5 mm", "--1 mm", "null"] {
        assert!(Quantity::parse(Kind::Length, bad).is_err(), "{bad}");
    }
}

#[test]
fn numbers_beyond_all_use_are_refused_wherever_they_stand() {
    for exponent in ["-2147483648", "2147483647", "-2147483647", "99999999999", "308", "-61"] {
        for text in [
            format!("1e{exponent} g/m2"),
            format!("200 g/m2 +/- 1e{exponent} g/m2"),
            format!("200 g/m2 +/- 1e{exponent} %"),
            format!("200 g/m2 (1e{exponent} .. 210 g/m2)"),
            format!("200 g/m2 (190 .. 1e{exponent} g/m2)"),
        ] {
            assert!(Quantity::parse(Kind::ArealMass, &text).is_err(), "{text}");
        }
    }
    let large = Quantity::parse(Kind::ArealMass, "1e308 g/m2").unwrap_err();
    assert!(large.to_string().contains("too large or too long a number"), "{large}");
    let long = Quantity::parse(Kind::Length, &format!("0.{} mm", "1".repeat(70))).unwrap_err();
    assert!(matches!(long, QuantityError::Unwieldy { .. }), "{long}");
}

#[test]
fn a_missing_unit_is_taken_from_the_limits() {
    let help = |kind, text: &str| Quantity::parse(kind, text).unwrap_err().help();
    let limits = help(Kind::Length, "40 (0 .. 80 um)");
    assert!(limits.contains("`40 um (0 .. 80 um)`"), "{limits}");
    let tolerance = help(Kind::ArealMass, "0.2 +/- 0.01 kg/m2");
    assert!(tolerance.contains("`0.2 kg/m2 +/- 0.01 kg/m2`"), "{tolerance}");
    assert!(help(Kind::ArealMass, "200 +/- 4 %").contains("`200 g/m2`"));
    assert!(help(Kind::Temperature, "120 +/- 5 K").contains("`120 degC`"));
}

#[test]
fn six_digits_round_half_to_even() {
    let six = |text: &str| Decimal::parse(text).unwrap().six_digits();
    assert_eq!(six("1234565"), "1234560");
    assert_eq!(six("1234575"), "1234580");
    assert_eq!(six("0.000123456789"), "0.000123457");
    assert_eq!(six("999999.5"), "1000000");
    assert_eq!(six("-38.50"), "-38.5");
    assert_eq!(six("0.22"), "0.22");
    assert_eq!(six("3e-7"), "0.0000003");
}
