//! Decisions: listed, shown whole, and held to their predictions.

use super::page::{Frame, count, shown};
use super::table::{Align, Table, wrap};
use crate::change::found::{Application, Calibration, Held, held};
use crate::record::{
    Approval, Approvals, Change, Day, Decision, DecisionStatus, FoundFigures, Predicted, Text, edit,
};
use serde_json::{Value, json};

/// One decision of a list.
#[derive(Debug, Clone, Copy)]
pub struct Listed<'a> {
    /// Its id.
    pub id: &'a str,
    /// The record.
    pub decision: &'a Decision,
    /// The commit that carried it out.
    pub applied: Option<&'a Application>,
    /// How the records stand to it, where it is approved and no commit carries it out.
    pub stands: Option<&'a Stands>,
}

impl Listed<'_> {
    /// Where it stands in words; what is approved is told apart by what has become of it.
    fn state(&self, rule: Option<&Approvals>, today: Day) -> String {
        let own = self.decision;
        let lacks = |word: &str| match lacking(own, rule, today) {
            (open, people) if !open.is_empty() || people > 0 => {
                let names = (people > 0).then(|| count(people, "name"));
                let needs: Vec<&str> = open.into_iter().chain(names.as_deref()).collect();
                format!("{word}, needs {}", needs.join(", "))
            }
            _ => word.to_string(),
        };
        if own.status == DecisionStatus::Proposed {
            return lacks("proposed");
        }
        if own.status != DecisionStatus::Approved {
            return own.status.word().to_string();
        }
        let is_closed = own.found.as_ref().is_some_and(|found| found.0.on.is_some());
        match (self.applied, self.stands) {
            (Some(applied), _) if applied.undone.is_some() => "taken back".to_string(),
            (Some(_), _) if is_closed => "closed".to_string(),
            // What was approved under an older rule is not asked again; what is said to be approved later is.
            (Some(_), _) if own.approvals.iter().any(|one| !one.on.has_come(today)) => lacks("carried out"),
            (Some(_), _) => "carried out".to_string(),
            (None, Some(Stands::Fits)) => lacks("approved, to do"),
            (None, Some(Stands::Done)) => lacks("approved, done already"),
            (None, Some(Stands::Part { done, of })) => lacks(&format!("approved, {done} of {of} done")),
            (None, Some(Stands::Stale(_))) => lacks("approved, does not fit"),
            (None, None) => lacks("approved"),
        }
    }
}

/// One decision shown whole.
#[derive(Debug, Clone)]
pub struct Shown<'a> {
    /// Its id.
    pub id: &'a str,
    /// Its file.
    pub file: &'a str,
    /// The record.
    pub decision: &'a Decision,
    /// Who has to approve.
    pub rule: Option<&'a Approvals>,
    /// The day on which it is looked at: an approval counts from its day on.
    pub today: Day,
    /// The commit that carried it out.
    pub applied: Option<&'a Application>,
    /// How the records stand to it, where no commit carries it out.
    pub stands: Option<Stands>,
}

/// How records stand to a decision that no commit carries out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stands {
    /// It can be carried out.
    Fits,
    /// They hold what it sets already.
    Done,
    /// They hold some of what it sets already.
    Part {
        /// How many of its changes.
        done: usize,
        /// Of how many.
        of: usize,
    },
    /// It can't be carried out, and why.
    Stale(String),
}

/// The roles that have not approved, and how many people are lacking, on a day: an approval of a day that has not come
/// counts for neither.
pub(super) fn lacking<'a>(
    decision: &Decision,
    rule: Option<&'a Approvals>,
    today: Day,
) -> (Vec<&'a str>, usize) {
    let Some(rule) = rule else { return (Vec::new(), 0) };
    let come = Approval::come(&decision.approvals, Some(today));
    let has = |role: &Text| come.iter().any(|one| one.role == *role);
    let roles = rule.decision.iter().filter(|role| !has(role)).map(Text::as_str).collect();
    let named = Approval::people(&come, &rule.decision);
    (roles, (rule.persons.unwrap_or(0) as usize).saturating_sub(named.len()))
}

/// Returns the list as a document of schema `decisions/1`.
pub fn list_json(rows: &[Listed<'_>], rule: Option<&Approvals>, today: Day) -> Value {
    let rows: Vec<Value> = rows
        .iter()
        .map(|row| {
            let own = row.decision;
            json!({
                "decision": row.id,
                "title": own.title,
                "status": own.status.word(),
                "raised": own.raised,
                "needs": (own.status == DecisionStatus::Proposed).then(|| lacking(own, rule, today).0),
                "state": row.state(rule, today),
                "applied": row.applied.map(applied_json),
                "taken_back": row.applied.and_then(taken_back_json),
                "predicted": own.predicted.as_ref().map(predicted_json),
                "held": held(row.id, own).map(|held| held_json(&held)),
            })
        })
        .collect();
    json!({ "schema": "decisions/1", "decisions": rows })
}

/// Returns the list as a table.
pub fn list_text(rows: &[Listed<'_>], rule: Option<&Approvals>, today: Day, frame: &Frame) -> String {
    if rows.is_empty() {
        return "No decisions. `bondline decide draft` writes one.\n".to_string();
    }
    let mut table = Table::new([
        ("Decision", Align::Left),
        ("Status", Align::Left),
        ("Mass kg", Align::Right),
        ("Weeks", Align::Right),
        ("Title", Align::Left),
    ]);
    for row in rows {
        let own = row.decision;
        let predicted = own.predicted.as_ref();
        table.row([
            row.id.split('-').take(2).collect::<Vec<_>>().join("-"),
            row.state(rule, today),
            predicted.map_or_else(|| "-".to_string(), |own| signed(own.mass.si())),
            predicted.map_or_else(|| "-".to_string(), |own| format!("{}", own.weeks)),
            shown(own.title.as_deref().unwrap_or(row.id)),
        ]);
    }
    let mut text = table.render(frame.columns());
    let note = "Mass and weeks as predicted when it was proposed; `-` where none was frozen.";
    text.push_str(&format!("\n{}", wrap(note, frame.columns())));
    text
}

fn applied_json(own: &Application) -> Value {
    json!({ "commit": own.commit, "on": own.on.to_string() })
}

fn taken_back_json(own: &Application) -> Option<Value> {
    own.undone.as_ref().map(|(commit, on)| json!({ "commit": commit, "on": on.to_string() }))
}

fn predicted_json(own: &Predicted) -> Value {
    json!({
        "commit": own.commit,
        "on": own.on,
        "mass_delta_kg": own.mass.si(),
        "panels": own.panels.iter().map(|(panel, kg)| json!({ "panel": panel, "delta_kg": kg.si() })).collect::<Vec<_>>(),
        "lapsed": own.lapsed,
        "specimens": own.specimens,
        "weeks": own.weeks,
        "cost": own.cost.as_ref().map(|cost| cost.amount()),
        "missing": own.missing,
    })
}

/// Returns one decision as a document of schema `decision/1`.
pub fn show_json(shown: &Shown<'_>) -> Value {
    let own = shown.decision;
    let (roles, people) = lacking(own, shown.rule, shown.today);
    json!({
        "schema": "decision/1",
        "decision": shown.id,
        "file": shown.file,
        "title": own.title,
        "status": own.status.word(),
        "raised": own.raised,
        "why": own.why,
        "changes": own.changes,
        "predicted": own.predicted.as_ref().map(predicted_json),
        "approvals": own.approvals,
        "needs": roles,
        "people_needed": people,
        "supersedes": own.supersedes,
        "applied": shown.applied.map(applied_json),
        "taken_back": shown.applied.and_then(taken_back_json),
        "cannot_be_carried_out": match &shown.stands {
            Some(Stands::Stale(why)) => Some(why),
            _ => None,
        },
        "found": own.found,
    })
}

/// Returns one decision for people.
pub fn show_text(given: &Shown<'_>, frame: &Frame) -> String {
    let own = given.decision;
    let style = frame.style;
    let width = frame.columns();
    let title = shown(own.title.as_deref().unwrap_or(""));
    let head = format!("{}  {title}", given.id);
    // One line where there is room: else the title has its own.
    let mut text = match head.chars().count() <= width || title.is_empty() {
        true => format!("{}  {title}\n", style.heading(given.id)),
        false => format!("{}\n{}", style.heading(given.id), wrap(&title, width)),
    };
    text.push_str(&format!("{}\n", shown(given.file)));
    let raised = own.raised.map_or(String::new(), |day| format!(", raised {day}"));
    text.push_str(&format!("{}{raised}\n", own.status.word()));
    if let Some(why) = &own.why {
        text.push_str(&format!("\n{}", wrap(&shown(&one_line(why)), width)));
    }
    if !own.changes.is_empty() {
        text.push_str(&format!("\n{}\n", style.heading("Changes")));
        for (at, change) in own.changes.iter().enumerate() {
            text.push_str(&wrap(&format!("{}. {}", at + 1, shown(&said(change))), width));
        }
    }
    if let Some(own) = &own.predicted {
        text.push_str(&format!("\n{}\n{}", style.heading("Predicted"), wrap(&foretold(own), width)));
        let rows: Vec<String> = own
            .lapsed
            .iter()
            .map(|duty| format!("  {} on {}: {}", duty.showing, duty.subject, duty.asks))
            .collect();
        let most = frame.shown(rows.len(), 12);
        for row in rows.iter().take(most) {
            text.push_str(&format!("{}\n", shown(row)));
        }
        if rows.len() > most {
            text.push_str(&format!("  and {} more; `--format json` has all\n", rows.len() - most));
        }
    }
    let (roles, people) = lacking(own, given.rule, given.today);
    text.push_str(&format!("\n{}\n", style.heading("Approvals")));
    for one in &own.approvals {
        let by = one.by.as_ref().map_or(String::new(), |by| format!(" ({by})"));
        let ahead = if one.on.has_come(given.today) { "" } else { ": that day has not come" };
        text.push_str(&shown(&format!("  {} on {}{by}{ahead}", one.role, one.on)));
        text.push('\n');
    }
    let open =
        matches!(own.status, DecisionStatus::Draft | DecisionStatus::Proposed | DecisionStatus::Approved);
    match (open, roles.as_slice(), people) {
        (true, [], 0) if own.approvals.is_empty() && own.status != DecisionStatus::Approved => {
            text.push_str("  none yet\n")
        }
        (true, [], 0) | (false, ..) => {}
        (true, roles, people) => {
            let mut needs: Vec<String> = roles.iter().map(ToString::to_string).collect();
            if people > 0 {
                needs.push(format!("{people} different people more, by name"));
            }
            text.push_str(&format!("  needs {}\n", needs.join(" and ")));
        }
    }
    match (given.applied, &given.stands) {
        (Some(applied), _) => {
            let brief = |commit: &str| commit.get(..10).unwrap_or(commit).to_string();
            let back = applied
                .undone
                .as_ref()
                .map_or(String::new(), |(commit, on)| format!(" Taken back on {on} in {}.", brief(commit)));
            let words = format!("Carried out on {} in {}.{back}", applied.on, brief(&applied.commit));
            text.push_str(&format!("\n{}", wrap(&words, width)));
        }
        (None, Some(Stands::Stale(why))) => {
            let words = format!("It can't be carried out as the records stand: {}", shown(why));
            text.push_str(&format!("\n{}", wrap(&words, width)));
        }
        (None, Some(Stands::Done)) => {
            text.push_str("\nThe records hold it already; no commit that carried it out is found.\n")
        }
        (None, Some(Stands::Part { done, of })) => {
            let words = format!(
                "The records hold {done} of its {} already: take that back and let `bondline decide apply` carry it out whole, or nobody can hold it to what it predicted.",
                count(*of, "change")
            );
            text.push_str(&format!("\n{}", wrap(&words, width)));
        }
        (None, Some(Stands::Fits)) => text.push_str("\nNot carried out; the records still fit it.\n"),
        (None, None) => {}
    }
    if let Some(found) = &own.found {
        text.push_str(&format!("\n{}\n", style.heading("Came true")));
        for sentence in came_true(own.predicted.as_ref(), &found.0) {
            text.push_str(&wrap(&shown(&one_line(&sentence)), width));
        }
    }
    text
}

/// A text of several lines on one.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// One change in words.
pub(super) fn said(change: &Change) -> String {
    let line = |value: &Option<crate::record::Free>| {
        value.as_ref().and_then(|value| edit::one_line(&value.0)).unwrap_or_else(|| "nothing".to_string())
    };
    if let Some(place) = &change.set {
        return format!("{place}: {} becomes {}", line(&change.was), line(&change.to));
    }
    if let Some(place) = &change.remove {
        return format!("{place}: {} goes", line(&change.was));
    }
    if let Some(list) = &change.insert {
        return format!("{list}: {} comes behind {}", line(&change.entry), line(&change.after));
    }
    match (&change.add, &change.drop) {
        (Some(address), _) => format!("{address} is new: {}", line(&change.record)),
        (_, Some(address)) => format!("{address} goes"),
        _ => "nothing".to_string(),
    }
}

pub(super) fn foretold(own: &Predicted) -> String {
    let on = own.on.map_or(String::new(), |day| format!(" on {day}"));
    let at = own.commit.as_ref().map_or(String::new(), |commit| {
        format!(" at {}", commit.as_str().get(..10).unwrap_or(commit.as_str()))
    });
    let cost = match (&own.cost, own.missing.is_empty()) {
        (Some(cost), _) => format!("{} for tests", cost.text()),
        (None, _) => "test cost unknown".to_string(),
    };
    format!(
        "{} kg, {} lapsed or open, {}, {} weeks, {cost}; predicted{on}{at}.",
        signed(own.mass.si()),
        count(own.lapsed.len(), "duty"),
        count(own.specimens as usize, "specimen"),
        own.weeks,
    )
}

/// Returns a difference of mass as people read it, in kg.
pub fn signed(kg: f64) -> String {
    // What rounds to nothing has no sign.
    let rounded = (kg * 1000.0).round() / 1000.0 + 0.0;
    if rounded == 0.0 { "0.000".to_string() } else { format!("{rounded:+.3}") }
}

/// How much of a mass the scale has said: what was not weighed is in it as it was predicted.
fn by_scale(predicted: Option<&Predicted>, found: &FoundFigures) -> String {
    let (Some(all), Some(weighed)) = (predicted.map(|own| own.panels.len()), found.weighed_panels) else {
        return String::new();
    };
    let weighed = weighed as usize;
    match all.saturating_sub(weighed) {
        0 => format!(" (of {}, all weighed)", count(all, "panel")),
        1 => format!(" (of {}, {weighed} weighed; the other as calculated)", count(all, "panel")),
        _ => format!(" (of {}, {weighed} weighed; the others as calculated)", count(all, "panel")),
    }
}

/// What came true against what was predicted, in sentences.
pub fn came_true(predicted: Option<&Predicted>, found: &FoundFigures) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(applied) = found.applied {
        let commit = found.commit.as_ref().map_or(String::new(), |commit| {
            format!(" in {}", commit.as_str().get(..10).unwrap_or(commit.as_str()))
        });
        said.push(format!("Carried out on {applied}{commit}."));
    }
    let expected = predicted.map_or(String::new(), |own| format!(", predicted {}", signed(own.mass.si())));
    match (&found.weighed, &found.calculated) {
        (Some(weighed), calculated) => said.push(format!(
            "Mass: {} kg by {} weighed since{}{expected}{}.",
            signed(weighed.si()),
            count(found.pieces.unwrap_or(0) as usize, "piece"),
            by_scale(predicted, found),
            calculated.as_ref().map_or(String::new(), |own| format!(", calculated {}", signed(own.si()))),
        )),
        (None, Some(calculated)) => said.push(format!(
            "Mass: {} kg as calculated{expected}; no panel was weighed both before and since in one condition, so no prediction of mass is held to it.",
            signed(calculated.si())
        )),
        (None, None) => {}
    }
    if !found.duties.is_empty() {
        let closed = |word: &str| matches!(word, "met" | "conceded" | "ended");
        let open: Vec<String> = found
            .duties
            .iter()
            .filter(|duty| !closed(duty.verdict.as_str()))
            .map(|duty| {
                let now = duty.now.as_ref().map_or(String::new(), |now| format!("now {now}, "));
                format!("{} on {} ({now}{})", duty.showing, duty.subject, duty.verdict)
            })
            .collect();
        said.push(format!(
            "Duties: {} of {} met, conceded or ended{}.",
            found.duties.len() - open.len(),
            found.duties.len(),
            if open.is_empty() { String::new() } else { format!("; open: {}", open.join(", ")) },
        ));
    }
    if let Some(weeks) = found.weeks {
        let expected = predicted.map_or(String::new(), |own| format!(", predicted {}", own.weeks));
        let so_far = if found.finished == Some(false) { " so far" } else { "" };
        said.push(format!("Weeks since the approval: {weeks}{so_far}{expected}."));
    }
    if let Some(specimens) = found.specimens {
        let expected = predicted.map_or(String::new(), |own| format!(", predicted {}", own.specimens));
        said.push(format!("Specimens tested: {specimens}{expected}."));
    }
    if let Some(note) = found.note.as_deref().map(str::trim).filter(|note| !note.is_empty()) {
        said.push(note.to_string());
    }
    said
}

/// One decision held to its prediction, for programs.
pub fn held_json(held: &Held) -> Value {
    json!({
        "decision": held.decision,
        "predicted_mass_kg": held.predicted_kg,
        "found_mass_kg": held.found_kg,
        "weighed": held.found_kg.is_some(),
        "calculated_mass_kg": held.calculated_kg,
        "predicted_weeks": held.predicted_weeks,
        "found_weeks": held.found_weeks,
        "weeks_so_far": held.weeks_so_far,
        "predicted_specimens": held.specimens.0,
        "found_specimens": held.specimens.1,
    })
}

/// The calibration, for programs.
pub fn calibration_json(own: &Calibration) -> Value {
    json!({
        "decisions": own.held.iter().map(held_json).collect::<Vec<_>>(),
        "masses": own.masses,
        "mass_bias_kg": own.mass_bias_kg,
        "mass_error_kg": own.mass_error_kg,
        "finished": own.finished,
        "weeks_bias": own.weeks_bias,
        "weeks_ratio": own.weeks_ratio,
    })
}

/// The calibration, for people.
pub fn calibration_text(own: &Calibration, frame: &Frame) -> String {
    if own.held.is_empty() {
        return wrap(
            "No decision is held to a prediction in this commit: `bondline decide close` does it, once what it writes is committed.",
            frame.columns(),
        );
    }
    let mut table = Table::new([
        ("Decision", Align::Left),
        ("Mass kg said", Align::Right),
        ("weighed", Align::Right),
        ("Weeks said", Align::Right),
        ("took", Align::Right),
    ]);
    for one in &own.held {
        table.row([
            one.decision.clone(),
            signed(one.predicted_kg),
            one.found_kg.map_or_else(|| "-".to_string(), signed),
            format!("{}", one.predicted_weeks),
            match (one.found_weeks, one.weeks_so_far) {
                (Some(weeks), _) => format!("{weeks}"),
                (None, Some(weeks)) => format!("{weeks} so far"),
                (None, None) => "-".to_string(),
            },
        ]);
    }
    let mut text = table.render(frame.columns());
    let mut sentences = Vec::new();
    if let (Some(bias), Some(error)) = (own.mass_bias_kg, own.mass_error_kg) {
        sentences.push(format!(
            "Mass comes out {} kg against what was predicted on the mean of {}, and is off by {error:.3} kg.",
            signed(bias),
            count(own.masses, "decision"),
        ));
    }
    let unweighed = own.held.len() - own.masses;
    if unweighed > 0 {
        sentences.push(format!(
            "{} in no mean of masses, since nothing that was weighed speaks of the change.",
            if unweighed == 1 { "1 decision is".to_string() } else { format!("{unweighed} decisions are") }
        ));
    }
    if let (Some(bias), finished) = (own.weeks_bias, own.finished) {
        let ratio =
            own.weeks_ratio.map_or(String::new(), |ratio| format!(", {ratio:.2} times what was said"));
        sentences.push(format!(
            "Weeks come out {bias:+.1} against what was predicted on the mean of {} that are finished{ratio}.",
            count(finished, "decision"),
        ));
    }
    if own.masses < 3 {
        sentences.push("So few say little about the next one.".to_string());
    }
    text.push('\n');
    for sentence in sentences {
        text.push_str(&wrap(&sentence, frame.columns()));
    }
    text
}
