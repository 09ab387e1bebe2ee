//! What `history` says of groups and of single records, held against `mass`, `gaps`, `why` and `impact`.

use super::decided::{History, HistoryOf};
use super::*;
use crate::support::{files, layout};

const RICHER: (&str, &str) = ("content: 39.5 % +/- 2 %", "content: 41 % +/- 2 %");

/// The example in a repository of four commits: as it is, with a richer resin, with a panel under another name, with that
/// panel in white.
fn past() -> Bench {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    let material = bench.read("materials/cw-200-e1.yaml");
    assert!(material.contains(RICHER.0));
    bench.write("materials/cw-200-e1.yaml", &material.replace(RICHER.0, RICHER.1));
    layout::commit(&bench.ledger(), "Richer");
    for file in files(&bench.ledger()).iter().filter(|file| file.ends_with(".yaml")) {
        let text = bench.read(file);
        // Its mould and its loads keep their names.
        let renamed = text.replace("baggage-door", "hold-door").replace("hold-door-", "baggage-door-");
        if renamed != text {
            bench.write(file, &renamed);
        }
    }
    std::fs::rename(
        bench.ledger().join("panels/baggage-door.yaml"),
        bench.ledger().join("panels/hold-door.yaml"),
    )
    .unwrap();
    layout::commit(&bench.ledger(), "Another name");
    let panel = bench.read("panels/hold-door.yaml");
    assert!(panel.contains("finish: sand"));
    bench.write("panels/hold-door.yaml", &panel.replace("finish: sand", "finish: white"));
    layout::commit(&bench.ledger(), "White");
    bench
}

#[test]
fn groups_add_up_to_the_programme_and_are_ready_as_gaps_says() {
    let bench = past();
    let whole: History = read(&bench, "history", 0);
    assert_eq!((whole.of.as_deref(), whole.commits.len()), (None, 4));
    let mass: Mass = read(&bench, "mass", 0);
    let mut sums = vec![0.0; whole.commits.len()];
    for group in &mass.groups {
        let own: History = read(&bench, &format!("history group/{}", group.group), 0);
        assert_eq!(own.of, Some(format!("group/{}", group.group)));
        near(own.commits[0].kg.unwrap(), group.kg);
        let moved: f64 = own.commits.iter().filter_map(|one| one.delta_kg).sum();
        near(moved, own.commits[0].kg.unwrap() - own.commits[3].kg.unwrap());
        for (sum, one) in sums.iter_mut().zip(&own.commits) {
            *sum += one.kg.unwrap();
        }
    }
    for (sum, one) in sums.iter().zip(&whole.commits) {
        near(*sum, one.kg.unwrap());
    }
    let ready = whole.commits[0].ready.as_ref().unwrap();
    assert!(ready.len() > 2);
    for own in ready {
        let gaps: Gaps = read(&bench, &format!("gaps --all --milestone {}", own.milestone), 0);
        let closed = gaps.duties.iter().filter(|duty| ["met", "conceded"].contains(&duty.verdict.as_str()));
        assert_eq!((own.duties, own.closed), (gaps.duties.len(), closed.count()), "{}", own.milestone);
    }
    assert!(ready.iter().any(|own| own.closed > 0 && own.closed < own.duties));
    let answer = bench.run(&["history", "group/closurs"]);
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("closures"), "{}", answer.err);
}

#[test]
fn a_record_is_told_with_what_moved_it_and_through_its_names() {
    let bench = past();
    let all: HistoryOf = read(&bench, "history panel/hold-door", 0);
    let told: Vec<(&str, bool)> = all.commits.iter().map(|row| (row.summary.as_str(), row.edited)).collect();
    assert_eq!(told, [("White", true), ("Another name", true), ("Richer", false), ("base", true)]);
    let [white, named, richer, base] = all.commits.as_slice() else { panic!() };
    assert_eq!(named.was_called.as_deref(), Some("panel/baggage-door"));
    assert_eq!((named.delta_kg, &named.counts), (Some(0.0), &named.was_counts));
    // What another record did to it, as `impact` and `--grew` tell it.
    let impact: Impact = read(&bench, "impact HEAD~3..HEAD~2", 0);
    let own = impact.panels.iter().find(|panel| panel.panel == "baggage-door").unwrap();
    near(richer.delta_kg.unwrap(), own.delta_kg);
    let moved = |row: &super::decided::EditedIn, address: &str| {
        row.changes.iter().any(|change| change.address.starts_with(address))
    };
    assert!(moved(richer, "material/cw-200-e1#resin.content"));
    let changed: Vec<&str> = white.changes.iter().map(|change| change.address.as_str()).collect();
    assert_eq!(changed, ["panel/hold-door#zones.door.finish"]);
    assert_ne!(richer.counts, richer.was_counts);
    assert_eq!((base.was_counts.as_ref(), base.delta_kg), (None, None));
    assert_eq!((white.was_counts.as_ref(), white.kg), (named.counts.as_ref(), all.commits[0].kg));
    near(white.delta_kg.unwrap(), white.kg.unwrap() - named.kg.unwrap());
    // Newest first, and as many as are asked for; what is edited is found however far back.
    let few: HistoryOf = read(&bench, "history panel/hold-door --commits 2", 0);
    let commits = |of: &HistoryOf| of.commits.iter().map(|row| row.commit.clone()).collect::<Vec<_>>();
    assert_eq!((commits(&few).as_slice(), few.left_out), (&commits(&all)[..2], 1));

    for address in ["panel/hold-door", "material/cw-200-e1", "finish/sand", "showing/wet-tg"] {
        let why: WhyRecord = read(&bench, &format!("why {address}"), 0);
        let own: HistoryOf = read(&bench, &format!("history {address}"), 0);
        let counts = own.commits[0].counts.as_ref().unwrap();
        assert_eq!(counts.values().sum::<usize>(), why.duties.len(), "{address}");
        if address.starts_with("panel/") {
            continue;
        }
        for (verdict, n) in counts {
            let found = why.duties.iter().filter(|duty| duty.verdict == *verdict).count();
            assert_eq!(found, *n, "{address}: {verdict}");
        }
    }
    let finish: HistoryOf = read(&bench, "history finish/sand", 0);
    assert_eq!((finish.commits[0].kg, finish.commits[0].edited), (Some(0.0), false), "no panel wears it now");
}
