//! What `leeway` says of figures and of evidence, held against `impact`, `why` and plain arithmetic.

use super::*;

documents! {
    LeewayRow { of: String, tightest: Option<String>, tightest_share: Option<f64>, on_edge: usize, stuck: usize, most_to_gain: Option<String>, most_to_gain_kg: Option<f64> }
    LostDuty { showing: String, subject: String, now: String, asks: String, panels: Vec<String>, because: Vec<Reason> }
    LostMargin { panel: String, case: String, mode: String, was: f64, is: f64 }
    LostMore { showing: String, subject: String, was: Option<String>, was_asks: Option<String>, now: String, asks: String, panels: Vec<String> }
    Lost { duties: Vec<LostDuty>, asks_more: Vec<LostMore>, margins: Vec<LostMargin>, budgets: Vec<String>, balance: Vec<String> }
    Again { specimens: u32, panels: u32, weeks: f64, cost: Option<f64>, missing: Vec<String> }
    MovedSide { edge: Option<String>, beyond: Option<String>, step: Option<String>, step_film_g_m2: Option<f64>, bound: String, bound_is_end_of_range: bool, refused: Option<String>, gain_kg: Option<f64>, lost_beyond: Option<Lost>, retest: Option<Again> }
    AnyOther { tried: String, lost: Lost, retest: Option<Again> }
    Moved { address: String, attribute: String, facet: Option<String>, of: Vec<String>, now: Option<String>, share: Option<f64>, stuck: bool, down: Option<MovedSide>, up: Option<MovedSide>, any_other: Option<AnyOther>, see: Option<String> }
    Leeway { schema: String, of: Option<String>, looks_percent_of_way: Vec<u32>, rows: Vec<LeewayRow>, attributes: Vec<Moved>, caution: String, report: Report }
    CountsFor { subject: String, panels: Vec<String> }
    InUse { value: String, subject: String, panels: Vec<String>, used_share: Option<f64> }
    KeptAttribute { attribute: String, was: String, stays: String, from: Option<String>, to: Option<String>, set: Option<Vec<String>>, window: Option<String>, rule: String, source: String, in_use: Vec<InUse> }
    Keep { schema: String, keep: String, showing: String, baseline: Option<String>, through: Vec<String>, counts_for: Vec<CountsFor>, attributes: Vec<KeptAttribute>, caution: String, report: Report }
}

/// The number that a figure begins with.
#[track_caller]
fn number(text: &str) -> f64 {
    let end = text.find(|c: char| c.is_whitespace() || c == '%').unwrap_or(text.len());
    text[..end].parse().unwrap_or_else(|_| panic!("{text}"))
}

/// The figure as it is written now, with another nominal.
fn written(now: &str, nominal: &str) -> String {
    match now.find(['+', '(']) {
        Some(at) if at > 0 => format!("{nominal} {}", &now[at..]),
        _ => nominal.to_string(),
    }
}

/// What the rows of a document say of its own attributes.
fn rows_agree(found: &Leeway) {
    for row in &found.rows {
        let own: Vec<&Moved> = found.attributes.iter().filter(|one| one.of.contains(&row.of)).collect();
        assert!(!own.is_empty());
        assert_eq!(row.on_edge, own.iter().filter(|one| one.share == Some(0.0)).count(), "{}", row.of);
        assert_eq!(row.stuck, own.iter().filter(|one| one.stuck).count(), "{}", row.of);
        let named = |place: &String| own.iter().find(|one| one.address == *place).unwrap();
        assert_eq!(row.tightest.as_ref().map(|place| named(place).share.unwrap()), row.tightest_share);
        let gains = |one: &Moved| {
            [&one.down, &one.up].into_iter().flatten().filter_map(|side| side.gain_kg).reduce(f64::min)
        };
        assert_eq!(row.most_to_gain.as_ref().map(|place| gains(named(place)).unwrap()), row.most_to_gain_kg);
    }
    for one in &found.attributes {
        let now = one.now.as_deref();
        let sides = [&one.down, &one.up];
        let step = |side: &MovedSide| side.step.as_deref().map(number);
        let stands = sides.iter().all(|side| side.as_ref().is_none_or(|side| step(side) == Some(0.0)));
        assert_eq!(
            one.stuck,
            stands && sides.iter().any(|side| side.is_some()) && one.see.is_none(),
            "{}",
            one.address
        );
        for side in [&one.down, &one.up].into_iter().flatten() {
            let Some(edge) = &side.edge else {
                assert!(side.lost_beyond.is_none() && side.retest.is_none() && side.beyond.is_none());
                continue;
            };
            let (now, edge, beyond) =
                (number(now.unwrap()), number(edge), number(side.beyond.as_ref().unwrap()));
            let step = number(side.step.as_ref().unwrap());
            assert!(
                (now + step - edge).abs() <= 1e-9 * now.abs().max(1.0),
                "{}: {now} {step} {edge}",
                one.address
            );
            assert!((beyond - now).abs() > (edge - now).abs(), "{}", one.address);
            let lost = side.lost_beyond.as_ref().unwrap();
            let nothing = lost.duties.is_empty() && lost.asks_more.is_empty() && lost.margins.is_empty();
            assert!(!(nothing && lost.budgets.is_empty() && lost.balance.is_empty()), "{}", one.address);
        }
    }
}

/// A decision that moves one figure, judged.
fn decided(bench: &Bench, one: &Moved, to: &str) -> Impact {
    let (now, to) = (one.now.as_ref().unwrap(), written(one.now.as_ref().unwrap(), to));
    // A bare number is no text.
    let value =
        |text: &str| if text.parse::<f64>().is_ok() { text.to_string() } else { format!("\"{text}\"") };
    let text = format!(
        "title: Moved\nstatus: draft\nchanges:\n  - {{set: \"{}\", was: {}, to: {}}}\n",
        one.address,
        value(now),
        value(&to)
    );
    bench.write("decisions/dd-900-moved.yaml", &text);
    let found = read(bench, "impact dd-900", 0);
    std::fs::remove_file(bench.ledger().join("decisions/dd-900-moved.yaml")).unwrap();
    found
}

/// Duties that were closed and are not any more.
fn lapsed(impact: &Impact) -> Vec<&DutyRow> {
    let closed =
        |word: &Option<String>| word.as_deref().is_some_and(|word| ["met", "conceded"].contains(&word));
    impact.duties.iter().filter(|row| closed(&row.was) && !closed(&row.now)).collect()
}

fn edges_agree(bench: &Bench, place: &str) {
    let found: Leeway = read(bench, &format!("leeway {place}"), 0);
    assert_eq!((found.schema.as_str(), found.looks_percent_of_way.last()), ("leeway/1", Some(&100)));
    rows_agree(&found);
    let mut looked = 0;
    for one in &found.attributes {
        for side in [&one.down, &one.up].into_iter().flatten() {
            let (Some(edge), Some(beyond)) = (&side.edge, &side.beyond) else { continue };
            // At the edge all stands; the mass is what it moves by.
            if number(edge) != number(one.now.as_ref().unwrap()) {
                let inside = decided(bench, one, edge);
                assert!(lapsed(&inside).is_empty(), "{} at {edge}", one.address);
                assert!(inside.retest.steps.is_empty(), "{} at {edge}", one.address);
                near(inside.mass.delta_kg, side.gain_kg.unwrap());
            }
            // Beyond it just these duties and margins go, and the plan is what `impact` makes of them.
            let outside = decided(bench, one, beyond);
            let lost = side.lost_beyond.as_ref().unwrap();
            for more in &lost.asks_more {
                let row = outside
                    .duties
                    .iter()
                    .find(|row| (&row.showing, &row.subject) == (&more.showing, &more.subject));
                let row = row.unwrap_or_else(|| panic!("{} beyond {beyond}: {more:?}", one.address));
                assert_eq!((&row.was, row.now.as_ref(), &row.asks), (&more.was, Some(&more.now), &more.asks));
            }
            let said: Vec<_> = lapsed(&outside)
                .into_iter()
                .map(|row| {
                    (row.showing.clone(), row.subject.clone(), row.now.clone().unwrap(), row.asks.clone())
                })
                .collect();
            let own: Vec<_> = lost
                .duties
                .iter()
                .map(|row| (row.showing.clone(), row.subject.clone(), row.now.clone(), row.asks.clone()))
                .collect();
            assert_eq!(own, said, "{} beyond {beyond}", one.address);
            let negative: Vec<(String, String)> = outside
                .margins
                .iter()
                .filter(|row| row.was.is_some_and(|was| was >= 0.0) && row.is.is_some_and(|is| is < 0.0))
                .map(|row| (row.panel.clone(), row.case.clone()))
                .collect();
            let own: Vec<(String, String)> =
                lost.margins.iter().map(|own| (own.panel.clone(), own.case.clone())).collect();
            assert_eq!(own, negative, "{} beyond {beyond}", one.address);
            // Duties that ask more are paid for like those that lapse.
            let plan = &outside.retest;
            assert_eq!(side.retest.is_some(), !plan.steps.is_empty(), "{} beyond {beyond}", one.address);
            if let Some(again) = &side.retest {
                assert_eq!((again.specimens, again.panels), (plan.specimens, plan.panels), "{}", one.address);
                near(again.weeks, plan.weeks);
                assert_eq!((again.cost, &again.missing), (plan.cost, &plan.missing));
                looked += 1;
            }
        }
    }
    assert!(looked > 0, "no edge of {place} was held against a plan");
}

#[test]
fn an_edge_is_where_impact_begins_to_say_something() {
    let bench = Bench::example();
    edges_agree(&bench, "recipe/hatch-outer#layers.6.thickness");
    // Running trials stop counting beyond these.
    edges_agree(&bench, "finish/white#coats.4.dry_film");
    edges_agree(&bench, "finish/white#coats.2.dry_film");
    edges_agree(&bench, "material/gw-105-e1#resin.content");
    edges_agree(&bench, "material/gw-105-e1#out_life");
    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    edges_agree(&bench, "material/cw-200-e1#resin.content");
    edges_agree(&bench, "panel/bow-hatch#loads.suction");
}

#[test]
fn what_has_to_stay_agrees_with_the_chain_of_its_duties() {
    let bench = Bench::example();
    let keep: Keep = read(&bench, "leeway --keep e-004", 0);
    assert_eq!((keep.schema.as_str(), keep.keep.as_str()), ("leeway/1", "e-004"));
    assert_eq!((keep.through.as_slice(), &keep.baseline), (&["e-029".to_string()][..], &None));
    for own in &keep.counts_for {
        let why: WhyDuty = read_of(&bench, &["why", &keep.showing, &own.subject], 0);
        let counts = |panel: &&PanelDuty| {
            ["met", "conceded"].contains(&panel.verdict.as_str())
                && panel.evidence.iter().any(|id| *id == keep.keep || keep.through.contains(id))
        };
        let panels: Vec<&String> =
            why.panels.iter().filter(counts).filter_map(|panel| panel.panel.as_ref()).collect();
        assert_eq!(panels, own.panels.iter().collect::<Vec<_>>(), "{}", own.subject);
    }
    let text = bench.read("evidence/e-004.yaml");
    let mut ranges = 0;
    for one in &keep.attributes {
        assert!(["any", "equal", "range", "window", "set"].contains(&one.stays.as_str()), "{}", one.stays);
        assert_eq!((one.stays == "set", one.stays == "window"), (one.set.is_some(), one.window.is_some()));
        assert_eq!(one.from.is_some() || one.to.is_some(), one.stays == "range", "{}", one.attribute);
        if one.stays != "range" {
            continue;
        }
        ranges += 1;
        let was = number(&one.was);
        assert!(one.from.as_deref().is_none_or(|from| number(from) <= was), "{}", one.attribute);
        assert!(one.to.as_deref().is_none_or(|to| was <= number(to)), "{}", one.attribute);
        for used in one.in_use.iter().filter(|used| used.used_share.is_some()) {
            let now = number(&used.value);
            let edge = if now < was { &one.from } else { &one.to };
            let share = (now - was) / (number(edge.as_ref().unwrap()) - was);
            near(used.used_share.unwrap(), share);
        }
    }
    assert!(ranges > 2);
    // What was made is what the record holds.
    for one in keep.attributes.iter().filter(|one| one.attribute.ends_with(".a")) {
        assert!(text.contains(&format!("{}: {}", one.attribute, one.was)), "{} {}", one.attribute, one.was);
    }
}
