//! Which test to make next, and what most rests on, as JSON and as text.

use super::mass::decimals;
use super::page::{Page, count};
use super::plan::money;
use super::reason::names;
use crate::qualify::next::{NextTest, Part, SinglePoint};
use crate::qualify::verdict::DutyKey;
use serde_json::{Value, json};

/// Tests and records shown; `Frame::all` shows them all.
const TESTS_SHOWN: usize = 8;
const POINTS_SHOWN: usize = 8;
const LIST_SHOWN: usize = 4;

/// Adds `next` and `single_points` to a document of schema `gaps/1`.
pub fn add_to(mut document: Value, tests: &[NextTest], points: &[SinglePoint]) -> Value {
    if let Some(map) = document.as_object_mut() {
        map.insert("next".to_string(), tests.iter().map(test_json).collect());
        map.insert("single_points".to_string(), points.iter().map(point_json).collect());
    }
    document
}

fn duty(key: &DutyKey) -> Value {
    json!({ "showing": key.0, "subject": key.1.to_string() })
}

fn test_json(test: &NextTest) -> Value {
    let part = |part: &Part| json!({ "name": part.name, "closed": part.closed, "of": part.of, "conceded": part.conceded });
    let whole = |all: &[Part]| -> Vec<String> {
        all.iter().filter(|part| part.is_whole()).map(|part| part.name.clone()).collect()
    };
    json!({
        "showing": test.showing,
        "build": test.build.to_string(),
        "kind": test.kind.word(),
        "closes": test.closes.iter().map(duty).collect::<Vec<_>>(),
        "prerequisites": test.prerequisites,
        "specimens": test.plan.specimens,
        "test_panels": test.plan.panels,
        "weeks": test.plan.weeks,
        "cost": test.plan.cost,
        "missing": test.plan.missing,
        "panels": test.panels.iter().map(part).collect::<Vec<_>>(),
        "releasable": whole(&test.panels),
        "releasable_kg": test.releasable_kg,
        "milestones": test.milestones.iter().map(part).collect::<Vec<_>>(),
        "milestones_completed": whole(&test.milestones),
        "begins": test.begins.iter().map(duty).collect::<Vec<_>>(),
        "unlocked_kg": test.unlocked_kg,
        "others": test.others,
        "worth": test.worth.sum(),
        "worth_of": {
            "panels": test.worth.panels,
            "milestones": test.worth.milestones,
            "mass": test.worth.mass,
            "duties": test.worth.duties,
        },
        "worth_per_week": test.per_week(),
        "worth_per_thousand": test.per_thousand(),
    })
}

fn point_json(point: &SinglePoint) -> Value {
    json!({
        "evidence": point.evidence,
        "showing": point.showing,
        "lapses": point.lapses.iter().map(|lapse| json!({
            "showing": lapse.showing,
            "subject": lapse.subject.to_string(),
            "now": lapse.now.word(),
            "asks": lapse.asks.to_string(),
            "panels": lapse.panels,
        })).collect::<Vec<_>>(),
        "panels": point.panels,
        "released": point.released,
    })
}

/// Writes the ranking and the single points.
pub(crate) fn write(page: &mut Page<'_>, tests: &[NextTest], points: &[SinglePoint]) {
    page.heading(&format!("Next ({})", tests.len()));
    page.paragraph(
        "Each is one test of the joint plan with what has to come first. Worth: for each panel and each milestone the \
         share of its open duties that is closed, so that one which nothing else holds back counts 1, each duty at the \
         first milestone that needs it; the mass of those panels by the same share, of all that is held back; and other \
         duties, closed beside its own or let begin, of all that are open. Ranked by worth a week, then by cost (common \
         practice, no source). Conceded duties are not met, and hold nothing up: they are said beside.",
    );
    let shown = page.frame.shown(tests.len(), TESTS_SHOWN);
    for (at, test) in tests.iter().take(shown).enumerate() {
        write_test(page, at + 1, test);
    }
    if shown < tests.len() {
        page.paragraph(&format!("… and {} more; --all shows them", tests.len() - shown));
    }
    if points.is_empty() {
        return;
    }
    page.heading(&format!("Single points: records that no other stands in for ({})", points.len()));
    let shown = page.frame.shown(points.len(), POINTS_SHOWN);
    for point in points.iter().take(shown) {
        let duties: Vec<String> =
            point.lapses.iter().map(|one| format!("{} {}", one.showing, one.subject)).collect();
        let released = match point.released.as_slice() {
            [] => "no released panel".to_string(),
            all => format!("released {}", names(all, page, LIST_SHOWN)),
        };
        page.hang(
            "  - ",
            "    ",
            &format!(
                "evidence/{}: if it fell, {} would no longer be closed ({}), {released}, {} in all",
                point.evidence,
                count(duties.len(), "duty"),
                names(&duties, page, LIST_SHOWN),
                count(point.panels.len(), "panel"),
            ),
        );
    }
    if shown < points.len() {
        page.paragraph(&format!("… and {} more; --all shows them", points.len() - shown));
    }
}

fn write_test(page: &mut Page<'_>, at: usize, test: &NextTest) {
    let per = test
        .per_thousand()
        .map_or_else(String::new, |worth| format!(", {worth:.3} per 1 000 {}", page.frame.currency));
    page.hang(
        &format!("{at:>3}. "),
        "     ",
        &format!(
            "{} {}: {}, {:.1} weeks, {}; worth {:.2}, {:.3} a week{per} (panels {:.2}, milestones {:.2}, mass {:.2}, \
             other duties {:.2})",
            test.showing,
            test.build,
            test.kind.word(),
            test.plan.weeks,
            money(test.plan.cost, &page.frame.currency),
            test.worth.sum(),
            test.per_week(),
            test.worth.panels,
            test.worth.milestones,
            test.worth.mass,
            test.worth.duties,
        ),
    );
    let duties = |all: &[DutyKey]| -> Vec<String> {
        all.iter().map(|(showing, subject)| format!("{showing} {subject}")).collect()
    };
    let others: Vec<String> = test
        .closes
        .iter()
        .filter(|(showing, subject)| *showing != test.showing || *subject != test.build)
        .map(|(showing, subject)| format!("{showing} {subject}"))
        .collect();
    if !others.is_empty() {
        page.hang("     ", "       ", &format!("closes also {}", names(&others, page, LIST_SHOWN)));
    }
    let (whole, part): (Vec<&Part>, Vec<&Part>) = test.panels.iter().partition(|part| part.is_whole());
    if !whole.is_empty() {
        let all: Vec<String> = whole.iter().map(|part| part.name.clone()).collect();
        page.hang(
            "     ",
            "       ",
            &format!(
                "nothing more holds back {} ({} kg)",
                names(&all, page, LIST_SHOWN),
                decimals(test.releasable_kg, 3)
            ),
        );
    }
    if !part.is_empty() {
        let all: Vec<String> = part.iter().map(|part| said(part)).collect();
        page.hang("     ", "       ", &format!("panels: {}", names(&all, page, LIST_SHOWN)));
    }
    if !test.milestones.is_empty() {
        let said = |part: &Part| match part.is_whole() {
            true => format!("{} complete", part.name),
            false => said(part),
        };
        let all: Vec<String> = test.milestones.iter().map(said).collect();
        page.hang("     ", "       ", &format!("milestones: {}", all.join(", ")));
    }
    if !test.begins.is_empty() {
        page.hang(
            "     ",
            "       ",
            &format!("lets begin: {}", names(&duties(&test.begins), page, LIST_SHOWN)),
        );
    }
    if !test.prerequisites.is_empty() {
        let first = names(&test.prerequisites, page, LIST_SHOWN);
        page.hang("     ", "       ", &format!("first, and counted in: {first}"));
    }
}

/// How much of a part is closed, with what is conceded beside, so that both are what `gaps` counts as not met.
fn said(part: &Part) -> String {
    let conceded = match part.conceded {
        0 => String::new(),
        n => format!(" and {n} conceded"),
    };
    format!("{} {} of {}{conceded}", part.name, part.closed, part.of)
}
