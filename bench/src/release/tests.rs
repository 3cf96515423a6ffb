//! The steps of a release, on a copy of the demo product without its earlier releases: few installs to rehearse.

use super::{Finished, FolderError, Made, StickReading};
use super::{
    Order, Prepared, PublishError, Published, ReleaseError, ReportError, Texts, prepare, stick_image, usual_folder,
};
use crate::open::{Bench, OpenError};
use crate::progress::Silent;
use crate::rehearse::Bound;
use packstaff_product::ledger::Appended;
use packstaff_product::{Date, Unlock};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use tempfile::TempDir;

/// A copy of the demo product.
struct Demo {
    folder: TempDir,
}

impl Demo {
    fn new() -> Self {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4");
        let folder = tempfile::tempdir().unwrap();
        for part in ["product.toml", "notes", "keys", "settings", "firmware/built"] {
            copy(&source.join(part), &folder.path().join(part));
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn bench(&self) -> Bench {
        Bench::open(self.folder.path()).unwrap()
    }

    fn prepare(&self, order: &Order) -> Result<Prepared, ReleaseError> {
        let mut unlock = Unlock::IdentityFile(self.path("keys/demo-identity.txt"));
        prepare(&self.bench(), order, &mut unlock, &Silent)
    }

    /// Every file, with its content.
    fn tree(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut tree = BTreeMap::new();
        collect(self.folder.path(), &mut tree);
        tree
    }
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(from, to).unwrap();
    }
}

fn collect(folder: &Path, tree: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            tree.insert(path.clone(), Vec::new());
            collect(&path, tree);
        } else {
            tree.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
}

fn order() -> Order {
    Order {
        version: "2.1".to_owned(),
        builds: BTreeMap::new(),
        date: Date::new(2026, 12, 1).unwrap(),
        bound: Bound::Nodes(2_000_000),
    }
}

fn with_build(board: &str, path: PathBuf) -> Order {
    Order {
        builds: [(board.to_owned(), path)].into(),
        ..order()
    }
}

fn texts() -> Texts {
    Texts {
        sheet: "<!doctype html><title>Sheet</title>".to_owned(),
        readme: "Read the sheet.\r\n".to_owned(),
    }
}

fn report(published: &Published) -> Result<String, ReportError> {
    Ok(format!("{{\"files\": {}}}\n", published.files.len()))
}

/// The demo's version 2.1, made once for all tests; and that nothing was changed by it.
static MADE: LazyLock<Made> = LazyLock::new(|| {
    let demo = Demo::new();
    let before = demo.tree();
    let Prepared::Made(made) = demo.prepare(&order()).unwrap() else {
        panic!("the demo's builds are in order")
    };
    assert!(demo.tree() == before, "preparing changes nothing");
    assert!(made.holds());
    *made
});

fn finished() -> Finished {
    MADE.clone().finish(texts(), &Silent).unwrap()
}

#[test]
fn nothing_is_recorded_or_written_before_it_is_published() {
    let demo = Demo::new();
    let before = demo.tree();
    let finished = finished();
    assert!(finished.holds());
    assert_eq!(finished.readings.len(), 4, "two boards, two generations");
    assert!(demo.tree() == before);

    let mut bench = demo.bench();
    let folder = usual_folder(&bench, &finished.made.examined.edition.version);
    let published = finished.publish(&mut bench, &folder, report).unwrap();
    assert_eq!(published.recorded, Appended::Added);
    assert_eq!(bench.ledger.find("2.1", 1).unwrap().record, finished.made.record);
    assert!(published.files.iter().all(|file| file.is_file()), "{published:?}");
    assert_eq!(fs::read_dir(&folder).unwrap().count(), published.files.len());
    assert_eq!(fs::read_to_string(folder.join("sheet.html")).unwrap(), texts().sheet);
    assert_eq!(
        fs::read_to_string(folder.join("report.json")).unwrap(),
        "{\"files\": 5}\n"
    );

    // Once more: it is the same release.
    let again = finished.publish(&mut bench, &folder, report).unwrap();
    assert_eq!(again.recorded, Appended::AlreadyThere);
}

#[test]
fn an_unknown_board_is_refused() {
    let demo = Demo::new();
    let error = demo.prepare(&with_build("X", demo.path("product.toml"))).unwrap_err();
    let ReleaseError::Open(OpenError::UnknownBoard { found, known }) = error else {
        panic!("{error}")
    };
    assert_eq!((found.as_str(), known.as_str()), ("X", "C, D"));
}

#[test]
fn another_boards_build_ends_before_anything_is_packed() {
    let demo = Demo::new();
    let wrong = with_build("C", demo.path("firmware/built/2.1/kc4-d.elf"));
    // The keyring is not even opened.
    fs::remove_file(demo.path("keys/demo-identity.txt")).unwrap();
    let Prepared::Refused(examined) = demo.prepare(&wrong).unwrap() else {
        panic!("this build begins elsewhere")
    };
    let hold: Vec<_> = examined
        .builds
        .iter()
        .map(|build| (build.board.as_str(), build.holds()))
        .collect();
    assert_eq!(hold, [("C", false), ("D", true)]);
    assert!(!examined.holds() && examined.settings.is_none());
}

#[test]
fn a_stick_that_units_do_not_take_is_refused() {
    let edition = &MADE.examined.edition;
    let files: [(&str, &[u8]); 1] = [("README.TXT", b"There is no update here.")];
    let empty = stick_image("KC4", &edition.version, edition.date, &files).unwrap();
    let finished = MADE.clone().with_stick(texts(), empty).unwrap();
    assert!(
        !finished.readings.iter().any(StickReading::holds),
        "{:?}",
        finished.readings
    );

    let demo = Demo::new();
    let before = demo.tree();
    let refused = finished
        .publish(&mut demo.bench(), &demo.path("out/2.1"), report)
        .unwrap_err();
    assert!(matches!(refused, PublishError::Refused { .. }), "{refused}");
    assert!(demo.tree() == before);
}

#[test]
fn nothing_is_recorded_if_something_stands_in_the_way() {
    let demo = Demo::new();
    fs::create_dir_all(demo.path("out/2.1")).unwrap();
    fs::write(demo.path("out/2.1/thesis.doc"), "years of work").unwrap();
    let before = demo.tree();
    let refused = finished()
        .publish(&mut demo.bench(), &demo.path("out/2.1"), report)
        .unwrap_err();
    assert!(
        matches!(refused, PublishError::Folder(FolderError::Stranger { .. })),
        "{refused}"
    );
    assert!(demo.tree() == before);
}
