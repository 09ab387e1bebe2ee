//! The walk that the project is done with.

use super::bed::Bed;
use super::gate::{commit, install, third_clear_coat};

#[test]
fn a_coat_lapses_evidence_is_refused_and_undone_leaves_nothing() {
    let bed = Bed::example();
    install(&bed);
    let gaps = bed.document(&["gaps"]);
    let mass = bed.document(&["mass"]);
    let head = bed.git(&["rev-parse", "HEAD"]);
    let before = bed.state();

    third_clear_coat(&bed);
    let found = bed.document(&["impact"]);
    let delta = found["mass"]["delta_kg"].as_f64().unwrap();
    let panels: f64 =
        found["panels"].as_array().unwrap().iter().map(|panel| panel["delta_kg"].as_f64().unwrap()).sum();
    assert!(delta > 0.0 && (delta - panels).abs() < 1e-9, "{delta} {panels}");
    // Two coats of 45 um at 1150 kg/m3 on the hatch's outer field of 0.82 m2.
    let hatch = found["panels"].as_array().unwrap().iter().find(|panel| panel["panel"] == "bow-hatch");
    let expected = 2.0 * 45e-6 * 1150.0 * 0.82;
    assert!((hatch.unwrap()["delta_kg"].as_f64().unwrap() - expected).abs() < 1e-9, "{hatch:?}");
    let lapsed: Vec<_> = found["duties"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|duty| duty["subject"] == "painted/hatch-outer+white")
        .collect();
    for showing in ["lightning-direct", "paint-adhesion"] {
        let duty = lapsed.iter().find(|duty| duty["showing"] == showing).unwrap();
        assert_eq!((duty["was"].as_str(), duty["now"].as_str()), (Some("met"), Some("lapsed")), "{showing}");
        let because = duty["because"].as_array().unwrap();
        let film = because.iter().find(|reason| reason["attribute"] == "film-build.max").unwrap();
        assert_eq!(film["is"], "344 um", "55 + 33 + 36 + 55 + 55 + 50 um and 60 um of repaint");
        assert_ne!(film["effect"], "none");
        assert!(!film["rule"].as_str().unwrap().is_empty() && film["evidence"].is_string(), "{film}");
    }
    assert!(found["retest"]["specimens"].as_u64().unwrap() > 0);
    let text = bed.bondline(&["impact"]).flat();
    for words in
        ["film-build.max: 234 um", "344 um", "bow-hatch", "lapse", "engineering aid, not approved data"]
    {
        assert!(text.contains(words), "{words}: {text}");
    }

    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("unqualified-recipe") && said.contains("bow-hatch"), "{said}");
    assert_eq!(bed.git(&["rev-parse", "HEAD"]), head);

    bed.git(&["reset", "-q"]);
    bed.git(&["checkout", "-q", "--", "finishes/white.yaml"]);
    let found = bed.document(&["impact"]);
    for key in ["changes", "duties", "ended", "panels"] {
        assert_eq!(found[key], serde_json::json!([]), "{key}");
    }
    assert_eq!(found["mass"]["delta_kg"], 0.0);
    assert!(bed.bondline(&["impact"]).out.starts_with("Nothing differs"));
    assert_eq!(bed.document(&["gaps"]), gaps);
    assert_eq!(bed.document(&["mass"]), mass);
    assert_eq!(bed.state(), before);
}
