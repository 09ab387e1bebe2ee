//! The script of `export sql`, loaded into a real server of PostgreSQL that is started for the test.

use super::{Bench, tables, titled};
use bondline::export::{TABLES, Type};
use serde_json::Value;
use std::fs;
use std::io::Write as _;
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const MISSING: &str = "install Debian's `postgresql`, as tests/run does";
/// `nobody` of every Debian: the server refuses to run as root.
const NOBODY: u32 = 65534;

/// A server in a folder of its own, reached by a socket in it and by no network.
struct Server {
    room: TempDir,
    child: Child,
}

/// The folder that `initdb` and `postgres` lie in, which Debian does not put on the path.
fn programs() -> PathBuf {
    let on_path = std::env::split_paths(&std::env::var_os("PATH").unwrap_or_default()).collect::<Vec<_>>();
    let mut debian: Vec<PathBuf> = fs::read_dir("/usr/lib/postgresql")
        .map(|all| all.map(|own| own.unwrap().path().join("bin")).collect())
        .unwrap_or_default();
    debian.sort();
    let has = |folder: &&PathBuf| folder.join("initdb").exists() && folder.join("postgres").exists();
    on_path
        .iter()
        .find(has)
        .or_else(|| debian.iter().rev().find(has))
        .cloned()
        .unwrap_or_else(|| panic!("no server of PostgreSQL is there: {MISSING}"))
}

/// A command that is run by somebody who is not root.
fn by_somebody(program: &Path) -> Command {
    let mut command = Command::new(program);
    command.stdin(Stdio::null()).current_dir("/");
    if is_root() {
        command.uid(NOBODY).gid(NOBODY);
    }
    command
}

fn is_root() -> bool {
    let output = Command::new("id").arg("-u").output().unwrap();
    output.stdout.trim_ascii() == b"0"
}

impl Server {
    fn start() -> Self {
        let programs = programs();
        let room = tempfile::Builder::new().prefix("bondline-pg-").tempdir().unwrap();
        if is_root() {
            std::os::unix::fs::chown(room.path(), Some(NOBODY), Some(NOBODY)).unwrap();
        }
        let data = room.path().join("data");
        let made = by_somebody(&programs.join("initdb"))
            .args(["--auth=trust", "--username=tester", "--encoding=UTF8", "--no-locale", "--no-sync"])
            .arg(&data)
            .output()
            .unwrap();
        assert!(made.status.success(), "initdb: {}", String::from_utf8_lossy(&made.stderr));
        let log = fs::File::create(room.path().join("log")).unwrap();
        let child = by_somebody(&programs.join("postgres"))
            .arg("-D")
            .arg(&data)
            .arg("-k")
            .arg(room.path())
            .args(["-c", "listen_addresses=", "-c", "fsync=off"])
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        let server = Self { room, child };
        let begin = Instant::now();
        while !server.psql("template1", "SELECT 1").status.success() {
            let log = fs::read_to_string(server.room.path().join("log")).unwrap();
            assert!(begin.elapsed() < Duration::from_secs(60), "the server does not answer\n{log}");
            std::thread::sleep(Duration::from_millis(100));
        }
        assert!(server.psql("template1", "CREATE DATABASE company").status.success());
        server
    }

    /// `psql` for a database, without what its user has set.
    fn client(&self, database: &str) -> Command {
        let mut command = Command::new("psql");
        command.args(["-X", "-q", "-U", "tester", "-d", database, "-h"]).arg(self.room.path());
        command.env_remove("PGOPTIONS").env_remove("PGPORT");
        command
    }

    fn psql(&self, database: &str, words: &str) -> Output {
        let output = self.client(database).args(["-A", "-t", "-v", "ON_ERROR_STOP=1", "-c", words]).output();
        output.unwrap_or_else(|error| panic!("psql: {error}: {MISSING}"))
    }

    /// What the server answers to a question, as text.
    fn ask(&self, words: &str) -> String {
        let output = self.psql("company", words);
        assert!(output.status.success(), "{words}\n{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap().trim_end().to_string()
    }

    /// Loads a script through a pipe, as the README says, with nothing that stops it but what it says itself.
    fn piped(&self, script: &str) -> Output {
        let mut child = self
            .client("company")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        let script = script.to_string();
        // In a thread of its own: who stops at an error does not read the rest.
        let writer = std::thread::spawn(move || input.write_all(script.as_bytes()).is_ok());
        let output = child.wait_with_output().unwrap();
        let _ = writer.join();
        output
    }

    #[track_caller]
    fn load(&self, script: &str) {
        let output = self.piped(script);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    }

    #[track_caller]
    fn refuses(&self, script: &str, words: &str) {
        let output = self.piped(script);
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{err}");
        assert!(err.contains(words), "{err}");
    }

    /// All rows of a table, in the order of its key.
    fn rows(&self, schema: &str, table: &bondline::export::Table) -> Vec<Value> {
        let text = self.ask(&format!(
            "SELECT coalesce(json_agg(row_to_json(t)), '[]') FROM (SELECT * FROM \"{schema}\".\"{}\" ORDER BY {}) t",
            table.name,
            table.key.join(", ")
        ));
        serde_json::from_str::<Value>(&text).unwrap().as_array().unwrap().clone()
    }

    /// Asserts that a schema has the rows of the document and no others.
    fn has(&self, schema: &str, all: &[Vec<Vec<Value>>]) {
        for (table, rows) in TABLES.iter().zip(all) {
            let mut expected: Vec<Value> = rows
                .iter()
                .map(|row| {
                    table
                        .columns
                        .iter()
                        .map(|own| own.key())
                        .zip(row.iter().cloned())
                        .collect::<serde_json::Map<_, _>>()
                })
                .map(Value::Object)
                .collect();
            // As the server orders them: numbers as numbers, texts by their bytes.
            expected.sort_by_key(|row| {
                let cell = |name: &&str| {
                    (row[name].as_i64().unwrap_or(0), row[name].as_str().unwrap_or("").to_string())
                };
                table.key.iter().map(cell).collect::<Vec<_>>()
            });
            let kept = self.rows(schema, table);
            assert_eq!(kept.len(), expected.len(), "{schema}.{}", table.name);
            for (kept, expected) in kept.iter().zip(&expected) {
                assert_eq!(kept.as_object().unwrap().len(), table.columns.len());
                for own in table.columns {
                    let (kept, expected) = (&kept[own.key()], &expected[own.key()]);
                    let same = match expected {
                        Value::Number(number) if own.kind == Type::Number => {
                            super::same(&kept.to_string(), number)
                        }
                        other => kept == other,
                    };
                    assert!(same, "{schema}.{}.{}: {kept} for {expected}", table.name, own.name);
                }
            }
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // The fast way to end: it takes its own children and its shared memory with it.
        let _ = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        let _ = self.child.wait();
    }
}

#[track_caller]
fn script(bench: &Bench, more: &[&str]) -> String {
    let answer = bench.run(&[&["export", "sql", "--dialect", "postgres"][..], more].concat());
    assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{}", answer.out);
    answer.out
}

#[test]
fn a_server_has_the_same_rows_however_often_they_are_loaded() {
    let bench = Bench::example();
    let server = Server::start();
    let all = tables(&bench);
    let own = script(&bench, &["--schema", "sanderling"]);
    server.load(&own);
    server.has("sanderling", &all);

    // Counts and sums, asked of the server.
    let gaps = bench.run(&["gaps", "--all", "--format", "json"]).json();
    let duties =
        server.ask("SELECT count(*) FROM (SELECT DISTINCT showing, subject FROM sanderling.duties) t");
    assert_eq!(duties, gaps["duties"].as_array().unwrap().len().to_string());
    let mass = bench.run(&["mass", "--format", "json"]).json()["total"]["kg"].as_f64().unwrap();
    for words in [
        "SELECT mass_kg FROM sanderling.programme",
        "SELECT (SELECT sum(mass_kg) FROM sanderling.panels) + coalesce((SELECT sum(mass_kg) FROM sanderling.parts), 0)",
    ] {
        let asked: f64 = server.ask(words).parse().unwrap();
        assert!((asked - mass).abs() < 1e-9 * mass, "{asked} {mass}");
    }

    // What others built on the tables outlives a second loading, which replaces what a hand did in them.
    server.ask("CREATE VIEW public.lapsed AS SELECT panel, count(*) FROM sanderling.duties WHERE verdict = 'lapsed' GROUP BY 1");
    server.ask("CREATE ROLE reader");
    server.ask("GRANT SELECT ON sanderling.panels TO reader");
    server.ask("DELETE FROM sanderling.reasons");
    server.ask("UPDATE sanderling.panels SET title = 'by hand'");
    server.ask("ALTER TABLE sanderling.readings DROP COLUMN place");
    server.load(&own);
    server.has("sanderling", &all);
    assert_eq!(server.ask("SELECT has_table_privilege('reader', 'sanderling.panels', 'SELECT')"), "t");
    let lapsed = all[TABLES.iter().position(|own| own.name == "duties").unwrap()].iter();
    let lapsed = lapsed.filter(|row| row.iter().any(|cell| cell == "lapsed") && !row[4].is_null()).count();
    let counted = server.ask("SELECT coalesce(sum(count), 0) FROM public.lapsed WHERE panel IS NOT NULL");
    assert_eq!(counted, lapsed.to_string());

    // From a file, as `psql -f` loads it.
    let answer = bench.run(&["export", "sql", "--schema", "sanderling", "--out", "../out.sql"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{}", answer.out);
    let file = bench.ledger().join("../out.sql");
    let lines = |text: &str| text.lines().count();
    assert_eq!(lines(&fs::read_to_string(&file).unwrap()), lines(&own));
    let loaded = server.client("company").args(["-v", "ON_ERROR_STOP=1", "-f"]).arg(&file).output().unwrap();
    assert!(loaded.status.success(), "{}", String::from_utf8_lossy(&loaded.stderr));
    server.has("sanderling", &all);

    described(&server);
    origin(&server, &own);
}

/// Types, keys and comments, as the server's own catalogue has them.
fn described(server: &Server) {
    for table in TABLES {
        let of = |words: &str| server.ask(&words.replace("{}", &format!("sanderling.\"{}\"", table.name)));
        let foreign = table.columns.iter().filter(|own| own.names.is_some()).count();
        let words = "SELECT count(*) FROM pg_constraint WHERE conrelid = '{}'::regclass AND contype = 'f'";
        assert_eq!(of(words), foreign.to_string(), "{}", table.name);
        let key = of(
            "SELECT count(*) FROM pg_index i, unnest(i.indkey) WHERE i.indrelid = '{}'::regclass AND i.indisprimary",
        );
        assert_eq!(key, table.key.len().to_string(), "{}", table.name);
        assert_eq!(of("SELECT obj_description('{}'::regclass)"), table.meaning);
        let columns = of(
            "SELECT json_agg(json_build_array(attname, format_type(atttypid, atttypmod), attnotnull, \
                          col_description(attrelid, attnum))) FROM pg_attribute WHERE attrelid = '{}'::regclass \
                          AND attnum > 0 AND NOT attisdropped",
        );
        let columns: Value = serde_json::from_str(&columns).unwrap();
        for own in table.columns {
            let found = columns.as_array().unwrap().iter().find(|found| found[0] == own.key()).unwrap();
            let kind = match own.kind {
                Type::Text => "text",
                Type::Number => "double precision",
                Type::Whole => "bigint",
                Type::Truth => "boolean",
                Type::Day => "date",
            };
            assert_eq!(
                (&found[1], &found[2]),
                (&kind.into(), &own.always.into()),
                "{}.{}",
                table.name,
                own.name
            );
            let said = found[3].as_str().unwrap();
            assert!(said.starts_with(own.meaning), "{said}");
            assert!(own.unit.is_empty() || said.ends_with(&format!("Unit: {}.", own.unit)), "{said}");
        }
    }
    assert!(server.ask("SELECT obj_description('sanderling'::regnamespace)").contains("form 1"));
}

/// The row that says where the others come from.
fn origin(server: &Server, own: &str) {
    let row: Value =
        serde_json::from_str(&server.ask("SELECT row_to_json(e) FROM sanderling.export e")).unwrap();
    assert_eq!((&row["form"], &row["today"]), (&1.into(), &crate::support::TODAY.into()));
    assert!(row["caution"].as_str().unwrap().contains("not approved data"));
    assert!(row["program"].as_str().unwrap().starts_with("bondline ") && !row["loaded"].is_null());
    // What breaks off leaves what was there.
    let before = server.ask("SELECT xmin FROM sanderling.export");
    let at = own.find("COPY \"sanderling\".\"zones\"").unwrap();
    let line = own[at..].find('\n').unwrap() + at + 1;
    let broken = format!("{}no row at all\n{}", &own[..line], &own[line..]);
    server.refuses(&broken, "zones");
    assert_eq!(server.ask("SELECT xmin FROM sanderling.export"), before);
}

#[test]
fn what_stands_in_records_and_names_is_data() {
    let bench = Bench::example();
    let titles = [
        "'; DROP SCHEMA sanderling CASCADE; --",
        "\\.\n\\N\n\\! touch /x\n$bondline$ :'HOME' :x",
        "\"quoted\"\tand \\\\ back\\slashed \r\n𝛼 ü 'it''s'",
        "\\",
    ];
    let mut files: Vec<String> = crate::support::files(&bench.ledger())
        .into_iter()
        .filter(|own| own.starts_with("materials/"))
        .collect();
    files.truncate(titles.len());
    for (file, title) in files.iter().zip(titles) {
        titled(&bench, file, title);
    }
    let head = bench.read("ledger.yaml");
    let line = head.lines().find(|own| own.starts_with("programme:")).unwrap();
    let hostile = "Hostile'; DROP SCHEMA \"x\"; $$ \\ --";
    bench.write(
        "ledger.yaml",
        &head.replace(line, &format!("programme: {}", serde_json::to_string(hostile).unwrap())),
    );
    let all = tables(&bench);
    let materials = &all[TABLES.iter().position(|own| own.name == "materials").unwrap()];
    for title in titles {
        assert!(materials.iter().any(|row| row[1] == title), "{title:?} is not there");
    }

    let server = Server::start();
    server.load(&script(&bench, &[]));
    server.has("hostile_drop_schema_x", &all);
    let other = "Other \"; DROP SCHEMA hostile_drop_schema_x CASCADE; -- '\\ $$";
    let own = script(&bench, &["--schema", other]);
    server.load(&own);
    server.load(&own);
    server.has(&other.replace('"', "\"\""), &all);
    server.has("hostile_drop_schema_x", &all);

    // Another programme, a schema of somebody else, another form.
    let small = Bench::small();
    let words = format!("holds the programme {hostile}");
    server.refuses(&script(&small, &["--schema", "hostile_drop_schema_x"]), &words);
    server.ask("CREATE TABLE public.mine (a int)");
    server.refuses(&script(&small, &["--schema", "public"]), "holds no such export");
    server.ask("UPDATE hostile_drop_schema_x.export SET form = 99");
    server.refuses(&script(&bench, &[]), "has form 99");
    server.has("hostile_drop_schema_x", &all);
    // An empty one is taken, by a role that may make none.
    server.ask("CREATE ROLE loader LOGIN");
    server.ask("CREATE SCHEMA ready AUTHORIZATION loader");
    server.load(&format!("SET ROLE loader;\n{}", script(&small, &["--schema", "ready"])));
    server.has("ready", &tables(&small));

    // What no text of the server can have.
    titled(&small, "materials/foam-52.yaml", "one\0two");
    let answer = small.run(&["export", "sql"]);
    assert_eq!(answer.code, 0);
    assert_eq!(answer.err, "note: PostgreSQL has no NUL in texts; 1 NUL character became U+FFFD\n");
    server.load(&answer.out);
    let title = server.ask("SELECT title FROM sanderling_invented.materials WHERE material = 'foam-52'");
    assert_eq!(title, "one\u{fffd}two");
}
