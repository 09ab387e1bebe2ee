use super::*;
use crate::qualify::assumed::{assumptions, count};
use crate::report::fixture::{base, fits, judged, keys};
use crate::report::page::Style;

#[test]
fn json_lists_what_stands_on_each() {
    let all = base();
    let got = json(&assumptions(&all, &judged(&all)).unwrap());
    assert_eq!(keys(&got), ["schema", "assumptions", "caution"]);
    assert_eq!(got["schema"], "assumptions/1");
    let list = got["assumptions"].as_array().unwrap();
    assert_eq!(keys(&list[0]), ["kind", "address", "what", "mass_kg", "duties", "panels"]);
    let foam = list.iter().find(|one| one["address"] == "material/foam").unwrap();
    assert_eq!(keys(&foam["duties"][0]), ["showing", "subject"]);
    assert_eq!(foam["duties"][1], json!({ "showing": "flatwise", "subject": "laminate/sandwich" }));
    assert_eq!((&foam["kind"], &foam["panels"]), (&json!("source"), &json!(["bow-hatch"])));
}

#[test]
fn text_says_like_things_together_and_fits() {
    let all = base();
    let list = assumptions(&all, &judged(&all)).unwrap();
    assert_eq!(count(&all, &judged(&all)).unwrap(), list.len());
    for width in [40, 60, 80] {
        let got = text(&list, &Frame::of(&all, width, Style::default(), false));
        fits(&got, width);
        let flat = got.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains("- material/foam: source: assumed from the data sheet stands on it: 1.248 kg"));
        // Each attribute is named, in one sentence for each record.
        assert_eq!(flat.matches("evidence/tension-1 was conformed with").count(), 1, "{got}");
        for one in list.iter().filter(|one| one.what.starts_with("evidence/tension-1 was conformed")) {
            let attribute = one.what.split(' ').nth(4).unwrap();
            assert!(flat.contains(attribute), "{attribute} in\n{got}");
        }
    }
    assert!(text(&[], &Frame::default()).starts_with("Every figure in use"));
}
