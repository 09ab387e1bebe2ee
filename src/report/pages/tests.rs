//! Sheets of small invented ledgers: that each renders, says what the commands say, and bears bad input.

use super::*;
use crate::article::fixture::ledger as read;
use crate::ledger::{Specimen, TestData};
use crate::report::fixture::{base, judged, today};
use std::collections::BTreeMap;

/// What a page may weigh.
const HEAVIEST: usize = 300_000;

fn all_of(ledger: &Ledger) -> BTreeMap<String, String> {
    with_changes(ledger, Vec::new())
}

fn with_changes(ledger: &Ledger, changes: Vec<ChangeInput<'_>>) -> BTreeMap<String, String> {
    let evaluation = judged(ledger);
    let inputs = Inputs {
        ledger,
        evaluation: &evaluation,
        head: ReportHead::new(None, today(), 0, 0),
        label: "a test".to_string(),
        today: today(),
        changes,
        since: None,
        history: Vec::new(),
        faults: Vec::new(),
        left_out: Vec::new(),
        unshown: vec![("dd-999-<b>".to_string(), Some("<script>".to_string()), "of <i>".to_string())],
    };
    let site = Site::new(inputs).unwrap();
    let sheets = site.sheets().iter();
    sheets.map(|sheet| (site.file(sheet), site.render(sheet).unwrap().replace("&#x2f;", "/"))).collect()
}

/// Links and anchors of a page: `href` values, without those that leave the folder.
fn links(page: &str) -> Vec<&str> {
    page.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

#[test]
fn links_of_every_sheet_resolve() {
    let pages = all_of(&base());
    assert!(pages.len() > 25, "{:?}", pages.keys());
    for (file, page) in &pages {
        for link in links(page) {
            let (path, anchor) = link.split_once('#').map_or((link, None), |(path, own)| (path, Some(own)));
            let path = if path.is_empty() { file.as_str() } else { path.trim_start_matches("../") };
            if path == "sheet.css" || path == "sheet.js" {
                continue;
            }
            let target = pages.get(path).unwrap_or_else(|| panic!("{file} leads to {link}"));
            if let Some(anchor) = anchor {
                assert!(target.contains(&format!("id=\"{anchor}\"")), "{file} leads to {link}");
            }
        }
    }
}

#[test]
fn the_sheet_of_a_change_has_every_heading_of_the_command_and_closes_nothing_that_is_open() {
    use crate::change::weaker::Weaker;
    use crate::report::impact::tests::{full, nearer};
    const HARM: &str = "</script><img src=x onerror=alert(1)>";
    let ledger = base();
    let mut impact = full();
    impact.duties.push(nearer());
    impact.verdict = HARM.to_string();
    impact.weaker = ["one", "two"]
        .map(|which| Weaker {
            address: format!("showing/{which}#plan.specimens"),
            what: "<b>fewer</b>",
            was: Some("6".to_string()),
            is: Some("1".to_string()),
            why: "fewer are tested",
            certain: true,
        })
        .to_vec();
    let decision = None;
    let change = ChangeInput {
        stem: "dd-001".to_string(),
        title: HARM.to_string(),
        impact: impact.clone(),
        base: &ledger,
        head: &ledger,
        says: (ReportHead::new(None, today(), 7, 0), "a test with dd-001".to_string()),
        left_out: vec!["<i>one</i>".to_string()],
        decision,
    };
    let pages = with_changes(&ledger, vec![change]);
    let sheet = &pages["change/dd-001.html"];
    assert!(!sheet.contains("<img") && sheet.contains("&lt;img"));
    let own = impact.duties.iter().filter(|row| !row.is_worse());
    for row in own {
        let title = crate::report::impact::Group::of(row).title();
        let (_, rest) = sheet.split_once(title).unwrap_or_else(|| panic!("{title}"));
        let rest = rest.split("<h3").next().unwrap();
        assert!(rest.contains(&row.showing), "{title}: {}", row.showing);
    }
    let closed =
        sheet.split("<h3>").filter(|part| part.starts_with("Met") || part.starts_with("New and met"));
    for part in closed {
        assert!(!part.split("<h").next().unwrap().contains("v wants"), "{part}");
    }
    assert!(sheet.contains("Requirements that ask less, or may (2)") && sheet.contains("showing/two"));
    for row in &impact.panel_rows {
        assert!(sheet.contains("Single panels") && sheet.contains(&row.panel));
    }
    for link in links(sheet).into_iter().filter(|link| link.starts_with("../panel/")) {
        assert!(pages.contains_key(link.trim_start_matches("../")), "{link}");
    }
    let today = &pages["index.html"];
    assert!(today.contains("dd-999-&lt;b&gt;") && today.contains("of &lt;i&gt;"), "{today}");
}

#[test]
fn no_anchor_stands_twice() {
    for (file, page) in all_of(&base()) {
        let mut ids: Vec<&str> =
            page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "{file}");
    }
}

#[test]
fn sheets_say_what_the_commands_say() {
    let ledger = base();
    let pages = all_of(&ledger);
    let kg = crate::article::weigh::panel_mass(&ledger, "bow-hatch").unwrap();
    let panel = &pages["panel/bow-hatch.html"];
    assert!(panel.contains(&format!("{kg:.3} kg each")), "{kg}");
    // By hand: 50 µm of density 1000 kg/m3 on 2 m2 is 0.1 kg.
    assert!(panel.contains("paint top, outer field") && panel.contains("0.100 kg"));
    // By hand: two plies of 200/(1 - 0.38) g/m2.
    assert!(pages["recipe/solid.html"].contains("2 layers, 0.40 mm thick, 645 g/m²"));
    assert!(pages["finish/white.html"].contains("50 µm of film as it is painted"));
    let showing = &pages["showing/tension.html"];
    assert!(showing.contains("every value at least 500 MPa") && showing.contains("ASTM D3039-17"));
    assert!(showing.contains("on-lamina.cw.oven"));
    let evidence = &pages["evidence/tension-1.html"];
    assert!(evidence.contains("R-17 issue 2") && evidence.contains("620 MPa"));
    assert!(pages["panels.html"].contains("2 panels: 1 released"));
    assert!(pages["evidence.html"].contains("under way for 1 duty"));
}

#[test]
fn what_is_written_stays_text() {
    let long = "שלום 🛩 ".repeat(1_400);
    let bad = format!("</script><script>alert(1)</script><img src=x onerror=alert(2)>{long}");
    let mut ledger = base();
    macro_rules! spoil {
        ($($records:ident),*) => {$(
            for entry in ledger.$records.values_mut() {
                let own = Arc::make_mut(&mut entry.value);
                own.title = Some(bad.clone());
                own.notes = Some(bad.clone());
                own.owner = Some(bad.clone());
                own.source = Some(bad.clone());
            }
        )*};
    }
    spoil!(panels, recipes, finishes, showings, evidence);
    for (file, page) in all_of(&ledger) {
        assert!(!page.contains("<script>") && !page.contains("<img"), "{file}");
        assert!(page.len() < HEAVIEST, "{file}: {} bytes", page.len());
    }
}

#[test]
fn an_empty_ledger_has_sheets() {
    let pages = all_of(&Ledger::default());
    assert!(pages["panels.html"].contains("0 panels"));
    assert!(pages["evidence.html"].contains("0 records"));
}

#[test]
fn a_thousand_layers_and_hundreds_of_panels_stay_light() {
    let layers = "{material: cw, angle: 0}, {material: cw, angle: 45}, ".repeat(500);
    let panels: String = (0..600)
        .map(|at| format!("  p-{at:03}: {{zones: [{{name: skin, area: 1 m2, recipe: thick}}]}}\n"))
        .collect();
    let text = format!(
        "
ledger: {{format: 1, programme: Test (invented)}}
materials:
  cw:
    kind: prepreg
    fibre: {{name: f, type: carbon, density: 1.78 g/cm3, areal: 200 g/m2}}
    resin: {{name: r, density: 1.25 g/cm3, content: 38 %}}
    cured_thickness: 0.2 mm
    lamina: {{E1: 60 GPa, E2: 59 GPa, G12: 4 GPa, nu12: 0.05}}
processes: {{oven: {{method: oven}}}}
recipes:
  thick: {{process: oven, layers: [{layers}]}}
panels:
{panels}"
    );
    let pages = all_of(&read(&text));
    for file in ["recipe/thick.html", "panels.html", "panels-2.html", "panels-3.html", "panel/p-000.html"] {
        assert!(pages[file].len() < HEAVIEST, "{file}: {} bytes", pages[file].len());
    }
    assert!(!pages.contains_key("panels-4.html"));
    let listed = |file: &str| pages[file].matches("href=\"panel/").count();
    assert_eq!(listed("panels.html") + listed("panels-2.html") + listed("panels-3.html"), 600);
    assert!(pages["panels-3.html"].contains("aria-current=\"page\">3<"));
}

#[test]
fn evidence_shows_its_specimens_and_every_step() {
    let mut ledger = base();
    let row = |at: usize| Specimen {
        batch: format!("b{}", at % 3).into(),
        panel: format!("<p{at}>").into(),
        specimen: format!("s{at}").into(),
        value: 600.0 + 7.0 * ((at * 5 % 18) as f64),
        rejected: (at == 4).then(|| "broke <in> the grip".into()),
        line: at + 2,
        ..Specimen::default()
    };
    let rows: Vec<Specimen> = (0..19).map(row).collect();
    let data = TestData { unit: Some("MPa".to_string()), rows: rows.into(), ..TestData::default() };
    ledger.data.insert("tension-1".to_string(), data);
    let page = &all_of(&ledger)["evidence/tension-1.html"];
    assert!(page.contains("broke &lt;in&gt; the grip") && page.contains("18 values of 3 batches"), "{page}");
    // The steps are those of `basis`, word for word.
    let showing = &ledger.showings["tension"];
    let levels = crate::qualify::pool::levels(&ledger, &showing.value);
    let sample =
        crate::report::basis::evidence_sample(&ledger, showing, &[&ledger.evidence["tension-1"]], &levels)
            .unwrap();
    let document = crate::report::basis::sample_json(&sample);
    let steps = document["steps"].as_array().unwrap();
    assert!(steps.len() >= 9);
    for step in steps {
        let title = svg::escaped(step["title"].as_str().unwrap());
        assert!(page.contains(&title), "{title}");
    }
    assert_eq!(page.matches("aria-label=\"Probability plot").count(), 1);
    assert_eq!(page.matches("aria-label=\"Batches side by side").count(), 1);
}

#[test]
fn base64_of_rfc_4648() {
    // RFC 4648, section 10.
    for (text, expected) in [
        ("", ""),
        ("f", "Zg=="),
        ("fo", "Zm8="),
        ("foo", "Zm9v"),
        ("foob", "Zm9vYg=="),
        ("fooba", "Zm9vYmE="),
        ("foobar", "Zm9vYmFy"),
    ] {
        assert_eq!(base64(text.as_bytes()), expected);
    }
}
