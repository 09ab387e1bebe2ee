//! Names the build by its sources, so that what one build kept is never another's answer.

use std::fs;
use std::path::{Path, PathBuf};

/// What the program is made of.
const SOURCES: [&str; 4] = ["Cargo.lock", "Cargo.toml", "src", "templates"];

fn main() {
    let mut files = Vec::new();
    for source in SOURCES {
        println!("cargo::rerun-if-changed={source}");
        gather(Path::new(source), &mut files);
    }
    files.sort();
    // FNV-1a, 64 bits (Fowler, Noll and Vo): it need not withstand anybody, only tell sources apart.
    let mut digest: u64 = 0xcbf2_9ce4_8422_2325;
    let mut add = |bytes: &[u8]| {
        for byte in bytes.iter().chain(&[0xff]) {
            digest = (digest ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    };
    for name in ["TARGET", "PROFILE"] {
        add(std::env::var(name).unwrap_or_default().as_bytes());
    }
    for file in files {
        add(file.to_string_lossy().as_bytes());
        add(&fs::read(&file).unwrap_or_default());
    }
    println!("cargo::rustc-env=BONDLINE_BUILD={digest:016x}");
}

fn gather(path: &Path, files: &mut Vec<PathBuf>) {
    match fs::read_dir(path) {
        Ok(entries) => entries.flatten().for_each(|entry| gather(&entry.path(), files)),
        Err(_) => files.push(path.to_path_buf()),
    }
}
