//! `bondline why`.

use super::args::WhyArgs;
use super::context::{Context, Failure, Loaded, Status, address, nearest, unreadable};
use super::why_place::{Place, absent, is_ply_of};
use crate::article::{Configurator, Subject, trace};
use crate::graph::{Reached, Uses};
use crate::ledger::Ledger;
use crate::qualify::resting::Resting;
use crate::qualify::table::Table;
use crate::qualify::trial::trials;
use crate::qualify::verdict::{Duty, Evaluation};
use crate::record::{Address, RecordKind, places};
use crate::report::{duty, page, row, specimens, standing, table};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write;

/// Kinds that a bare id is looked for in, in this order.
pub(super) const KINDS: [RecordKind; 13] = [
    RecordKind::Showing,
    RecordKind::Panel,
    RecordKind::Recipe,
    RecordKind::Material,
    RecordKind::Finish,
    RecordKind::Process,
    RecordKind::Tool,
    RecordKind::Assembly,
    RecordKind::Evidence,
    RecordKind::Decision,
    RecordKind::Concession,
    RecordKind::Weighing,
    RecordKind::Study,
];

/// Ids of the kind that a name begins with, of all where it begins with none.
fn names_like<'l>(name: &str, ledger: &'l Ledger) -> Vec<&'l str> {
    let kind = name.split_once('/').map_or("", |(kind, _)| kind);
    let kinds = KINDS.iter().filter(|own| kind.is_empty() || own.word() == kind);
    let mut names: Vec<&str> = kinds.flat_map(|kind| ledger.ids(*kind)).collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// Says that no record is called so, and which is called nearest to it.
pub(super) fn unknown_record(name: &str, ledger: &Ledger) -> Failure {
    let bare = name.split_once('/').map_or(name, |(_, bare)| bare);
    Failure::new(format!("no record is called `{name}`"), nearest(bare, &names_like(name, ledger)))
}

pub(super) fn run(
    context: &mut Context,
    args: &WhyArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    if let Some(kind) = &args.table {
        return table_row(context, kind, out);
    }
    let place = context.place()?;
    let loaded = context.load_with(&place, &args.source, &args.with)?;
    let of = args.of.as_deref().unwrap_or_default();
    let (name, route) = of.split_once('#').map_or((of, None), |(name, route)| (name, Some(route)));
    let names = || names_like(name, &loaded.ledger);
    let unknown = || unknown_record(name, &loaded.ledger);
    let Some(found) = address(name, &KINDS, &loaded.ledger) else {
        let showings = answering(&loaded, of);
        if showings.is_empty() {
            return Err(unknown_clause(&loaded, of, &names()).unwrap_or_else(unknown));
        }
        let evaluation = context.evaluate(&loaded, err)?;
        return clause(context, (&loaded, &evaluation), of, &showings, out);
    };
    if let Some(failure) = unreadable(&loaded.ledger, &found) {
        return Err(failure);
    }
    if loaded.ledger.file_of(&found).is_none() {
        return Err(unknown());
    }
    if args.uses || args.used_by {
        return reach(context, args, &loaded, &found, out);
    }
    let evaluation = context.evaluate_for(&loaded, &found, err)?;
    if let Some(text) = &args.subject {
        return one_duty(context, &loaded, &evaluation, &found, text, out);
    }
    record(context, &loaded, &evaluation, &found, route, out)
}

/// A row of the built-in table.
fn table_row(context: &Context, kind: &str, out: &mut dyn Write) -> Result<Status, Failure> {
    let built_in = Table::built_in().map_err(|fault| Failure::new(fault.to_string(), ""))?;
    let Some(found) = built_in.kinds.get(kind) else {
        let kinds: Vec<&str> = built_in.kinds.keys().map(String::as_str).collect();
        return Err(Failure::new(
            format!("the table has no kind of showing `{kind}`"),
            nearest(kind, &kinds),
        ));
    };
    if context.json() {
        writeln!(out, "{:#}", row::json(built_in, kind, found))?;
    } else {
        let frame = page::Frame {
            width: context.width,
            style: page::Style { colour: context.colour },
            ..page::Frame::default()
        };
        write!(out, "{}", row::text(built_in, kind, found, &frame))?;
    }
    Ok(Status::Done)
}

/// Showings that answer a clause, as their records write it.
fn answering(loaded: &Loaded, text: &str) -> Vec<String> {
    let wanted = text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    loaded
        .ledger
        .showings
        .values()
        .filter(|entry| entry.value.clause.iter().any(|clause| clause.as_str().to_lowercase() == wanted))
        .map(|entry| entry.id.clone())
        .collect()
}

/// The failure of asking for a clause that no showing answers: no id has a blank, but a clause has, and somebody may write
/// an id's words with one.
fn unknown_clause(loaded: &Loaded, text: &str, names: &[&str]) -> Option<Failure> {
    let words: Vec<&str> = text.split_whitespace().collect();
    if words.len() < 2 || text.contains('/') {
        return None;
    }
    let hyphened = words.join("-").to_lowercase();
    if names.contains(&hyphened.as_str()) {
        return Some(Failure::new(
            format!("no record is called `{text}`"),
            format!("did you mean `{hyphened}`?"),
        ));
    }
    let all = loaded.ledger.showings.values().flat_map(|entry| entry.value.clause.iter());
    let mut clauses: Vec<&str> = all.map(|clause| clause.as_str()).collect();
    clauses.sort_unstable();
    clauses.dedup();
    let help = match clauses.as_slice() {
        [] => "no showing of this ledger names a clause".to_string(),
        all => nearest(text, all).replacen("there are", "of clauses there are", 1),
    };
    Some(Failure::new(format!("no record is called `{text}`, and no showing answers such a clause"), help))
}

/// From a clause to its showings, their duties and the panels.
fn clause(
    context: &Context,
    (loaded, evaluation): (&Loaded, &Evaluation),
    text: &str,
    showings: &[String],
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let duties: Vec<&Duty> =
        evaluation.duties.values().filter(|duty| showings.contains(&duty.showing)).collect();
    if context.json() {
        let rows: Vec<Value> = duties.iter().map(|duty| duty_row(duty)).collect();
        let document = json!({ "schema": "why/1", "clause": text, "showings": showings, "duties": rows });
        writeln!(out, "{:#}", loaded.document(document))?;
        return Ok(Status::Done);
    }
    context.say_laid(loaded, out)?;
    let style = crate::report::page::Style { colour: context.colour };
    writeln!(out, "{}", style.heading(text))?;
    for showing in showings {
        writeln!(out)?;
        writeln!(out, "showing/{showing}")?;
        let mut any = false;
        for duty in duties.iter().filter(|duty| duty.showing == *showing) {
            any = true;
            let verdict = duty.verdict();
            let mark = style.verdict(verdict, &format!("{} {verdict:<8}", page::shape(verdict)));
            writeln!(out, "  {mark} {}", duty.subject)?;
            let panels: Vec<&str> =
                duty.panels.keys().map(String::as_str).filter(|name| !name.is_empty()).collect();
            if !panels.is_empty() {
                writeln!(out, "             panels {}", panels.join(", "))?;
            }
        }
        if !any {
            writeln!(out, "  asked of nothing in use")?;
        }
    }
    Ok(Status::Done)
}

fn duty_row(duty: &Duty) -> Value {
    json!({
        "showing": duty.showing,
        "subject": duty.subject.to_string(),
        "verdict": duty.verdict().word(),
        "asks": duty.asks().word(),
        "panels": duty.panels.keys().collect::<Vec<_>>(),
    })
}

/// File and line of a route.
fn line(loaded: &Loaded, address: &Address, route: &str) -> Option<(String, Option<usize>)> {
    let file = loaded.ledger.file_of(address)?.to_string();
    let text = loaded.text(&file)?;
    let index = places(&text);
    let stretch = index.find_key(route).or_else(|| index.find(route)).or_else(|| index.nearest(route));
    let line = stretch.and_then(|stretch| stretch.place(&file).line);
    Some((file, line))
}

fn one_duty(
    context: &Context,
    loaded: &Loaded,
    evaluation: &Evaluation,
    found: &Address,
    text: &str,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let subjects: Vec<String> = evaluation
        .duties
        .keys()
        .filter(|(showing, _)| showing == found.id())
        .map(|(_, subject)| subject.to_string())
        .collect();
    let unknown = || {
        let names: Vec<&str> = subjects.iter().map(String::as_str).collect();
        let help = if names.is_empty() {
            "no panel in use asks this showing".to_string()
        } else {
            format!("it is asked of {}", names.join(", "))
        };
        Failure::new(format!("showing/{} is not asked of `{text}`", found.id()), help)
    };
    let subject = Subject::parse(text).ok_or_else(unknown)?;
    let duty = evaluation.duties.get(&(found.id().to_string(), subject)).ok_or_else(unknown)?;
    let lines = where_written(loaded, duty);
    let mut trials = trials(&loaded.ledger, evaluation, context.today);
    trials.retain(|trial| trial.speaks_for(duty));
    if context.json() {
        let mut document =
            duty::json(&loaded.ledger, duty, &trials).map_err(|missing| context.missing(loaded, &missing))?;
        if let Some(map) = document.as_object_mut() {
            let list: Vec<Value> = lines
                .iter()
                .map(|(attribute, (address, file, line))| json!({ "attribute": attribute, "address": address, "file": file, "line": line }))
                .collect();
            map.insert("written".to_string(), Value::Array(list));
        }
        let head = context.report_head(loaded, evaluation);
        writeln!(out, "{:#}", loaded.document(head.add_to(document)))?;
        return Ok(Status::Done);
    }
    let frame = context.frame(&loaded.ledger, false);
    let text = duty::text(&loaded.ledger, duty, &trials, &frame)
        .map_err(|missing| context.missing(loaded, &missing))?;
    context.say_laid(loaded, out)?;
    write!(out, "{text}")?;
    if !lines.is_empty() {
        writeln!(out)?;
        writeln!(out, "{}", frame.style.heading("Where it is written"))?;
        for (attribute, (address, file, line)) in &lines {
            let line = line.map_or(String::new(), |line| format!(":{line}"));
            writeln!(out, "  {attribute}: {address}")?;
            writeln!(out, "    {}{line}", page::shown(file))?;
        }
    }
    Ok(Status::Done)
}

/// The address and place of each attribute that a duty's reasons name.
type Written = BTreeMap<String, (String, String, Option<usize>)>;

fn where_written(loaded: &Loaded, duty: &Duty) -> Written {
    let configurator = Configurator::new(&loaded.ledger);
    let mut all = Written::new();
    for (panel, judged) in &*duty.panels {
        for reason in &judged.because {
            // Remarks stand nowhere in the records.
            if all.contains_key(reason.attribute.as_str())
                || ["evidence", "criterion"].contains(&reason.attribute.as_str())
            {
                continue;
            }
            let panel = (!panel.is_empty()).then_some(panel.as_str());
            let target = if reason.attribute.starts_with("tested.") {
                let route = reason.attribute.replace("tested", "environment");
                Some((Address::new(RecordKind::Showing, duty.showing.clone()), route))
            } else {
                trace(&loaded.ledger, &configurator, &duty.subject, panel, &reason.attribute)
            };
            if let Some((address, route)) = target
                && let Some((file, line)) = line(loaded, &address, &route)
            {
                all.insert(reason.attribute.to_string(), (format!("{address}#{route}"), file, line));
            }
        }
    }
    all
}

fn reach(
    context: &Context,
    args: &WhyArgs,
    loaded: &Loaded,
    found: &Address,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let uses = Uses::of(&loaded.ledger);
    let all: Vec<Reached> = if args.uses { uses.reach(found) } else { uses.reached_from(found) };
    let word = if args.uses { "uses" } else { "used_by" };
    if context.json() {
        let list: Vec<Value> = all
            .iter()
            .map(|one| {
                json!({ "address": one.address.to_string(), "depth": one.depth, "by": format!("{}#{}", one.by.from, one.by.route) })
            })
            .collect();
        let document = json!({ "schema": "why/1", "address": found.to_string(), word: list });
        writeln!(out, "{:#}", loaded.document(document))?;
        return Ok(Status::Done);
    }
    context.say_laid(loaded, out)?;
    let said = if args.uses { "uses nothing" } else { "is used by nothing" };
    if all.is_empty() {
        writeln!(out, "{found} {said}.")?;
        return Ok(Status::Done);
    }
    writeln!(
        out,
        "{found} {}",
        if args.uses { "uses, all the way down:" } else { "is used by, all the way up:" }
    )?;
    for one in &all {
        let indent = "  ".repeat(one.depth);
        writeln!(out, "{indent}{}  by {}#{}", one.address, one.by.from, one.by.route)?;
    }
    Ok(Status::Done)
}

fn record(
    context: &Context,
    loaded: &Loaded,
    evaluation: &Evaluation,
    found: &Address,
    route: Option<&str>,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let uses = Uses::of(&loaded.ledger);
    let place = line(loaded, found, route.unwrap_or_default());
    let (mut down, up) = (uses.uses(found), uses.used_by(found));
    let within = match route {
        Some(route) => {
            let within = Place::find(loaded, found, route, &down);
            Some(within.ok_or_else(|| {
                Failure::new(format!("{found} has no `{route}`"), absent(loaded, found, route))
            })?)
        }
        None => None,
    };
    if let Some(within) = &within {
        down.clone_from(&within.names);
    }
    let written = within.as_ref().map(|within| &within.written);
    let resting = Resting::on(&loaded.ledger, &uses, found);
    let rests = |duty: &Duty| match &within {
        None => resting.has(duty, &evaluation.uses),
        // A place within it counts for those that look at such a difference, down to the plies of a recipe.
        Some(within) => {
            let held = resting.touches(duty) || is_ply_of(loaded, &duty.subject, found);
            let any = duty.subject != Subject::Programme || within.facet.is_none();
            let heated = || within.facet == Some("colour") && resting.heats(duty, &evaluation.uses);
            any && held && within.counts_for(loaded, duty) || heated()
        }
    };
    let duties: Vec<&Duty> = evaluation.duties.values().filter(|duty| rests(duty)).collect();
    let standing = match (found.kind(), loaded.ledger.concessions.get(found.id())) {
        (RecordKind::Concession, Some(own)) => standing::concession(own, evaluation),
        (RecordKind::Evidence, _) => {
            let own = loaded.ledger.evidence.get(found.id());
            let why = own.and_then(|own| duty::why_not_counted(&loaded.ledger, own));
            let data = loaded.ledger.data.get(found.id());
            let rejected = data.into_iter().flat_map(specimens::rejected_sentences);
            why.map(|why| format!("Not counted: {why}.")).into_iter().chain(rejected).collect()
        }
        _ => Vec::new(),
    };
    if context.json() {
        let list = |all: &[crate::graph::Use], from: bool| -> Vec<Value> {
            all.iter()
                .map(|one| json!({ "route": one.route, "address": if from { one.from.to_string() } else { one.to.to_string() } }))
                .collect()
        };
        let rows: Vec<Value> = duties.iter().map(|duty| duty_row(duty)).collect();
        let document = json!({
            "schema": "why/1",
            "address": found.to_string(),
            "route": route,
            "value": written,
            "facet": within.as_ref().and_then(|within| within.facet),
            "file": place.as_ref().map(|(file, _)| file),
            "line": place.as_ref().and_then(|(_, line)| *line),
            "uses": list(&down, false),
            "used_by": list(&up, true),
            "standing": standing,
            "duties": rows,
        });
        writeln!(out, "{:#}", loaded.document(document))?;
        return Ok(Status::Done);
    }
    context.say_laid(loaded, out)?;
    let frame = context.frame(&loaded.ledger, false);
    let at = route.map_or(String::new(), |route| format!("#{route}"));
    writeln!(out, "{}", frame.style.heading(&format!("{found}{at}")))?;
    if let Some((file, line)) = &place {
        writeln!(out, "  {}{}", page::shown(file), line.map_or(String::new(), |line| format!(":{line}")))?;
    }
    if let Some(text) = &written {
        writeln!(out, "  {text}")?;
    }
    if let Some(words) = within.as_ref().and_then(Place::words) {
        writeln!(out, "  {words}")?;
    }
    if !standing.is_empty() {
        writeln!(out)?;
        let mut page = page::Page::new(&frame);
        for sentence in &standing {
            page.paragraph(sentence);
        }
        write!(out, "{}", page.finish())?;
    }
    let used_by = if route.is_some() { "The record is used by" } else { "Used by" };
    for (heading, list, from) in [("Uses", &down, false), (used_by, &up, true)] {
        if list.is_empty() {
            continue;
        }
        writeln!(out)?;
        writeln!(out, "{}", frame.style.heading(heading))?;
        let mut rows = table::Table::new([("record", table::Align::Left), ("by", table::Align::Left)]);
        let shown = frame.shown(list.len(), 20);
        for one in list.iter().take(shown) {
            let other = if from { one.from.to_string() } else { one.to.to_string() };
            rows.row([other, one.route.clone()]);
        }
        write!(out, "{}", rows.render(frame.columns()))?;
        if shown < list.len() {
            writeln!(out, "and {} more", list.len() - shown)?;
        }
    }
    writeln!(out)?;
    if duties.is_empty() {
        let said = match found.kind() {
            RecordKind::Decision => {
                format!("Carries no duty by itself; `bondline impact {}` says what it does.", found.id())
            }
            _ => "No duty rests on it.".to_string(),
        };
        writeln!(out, "{said}")?;
        return Ok(Status::Done);
    }
    let title = within.as_ref().map_or_else(|| "Duties that rest on it".to_string(), Place::heading);
    writeln!(out, "{}", frame.style.heading(&format!("{title}: {}", duties.len())))?;
    let shown = frame.shown(duties.len(), 30);
    for duty in duties.iter().take(shown) {
        let verdict = duty.verdict();
        let mark = frame.style.verdict(verdict, &format!("{} {verdict:<8}", page::shape(verdict)));
        writeln!(out, "{mark} {}", duty.showing)?;
        writeln!(out, "             {}", duty.subject)?;
    }
    if shown < duties.len() {
        writeln!(out, "and {} more", duties.len() - shown)?;
    }
    writeln!(out)?;
    writeln!(out, "`bondline why SHOWING SUBJECT` opens one of them.")?;
    Ok(Status::Done)
}
