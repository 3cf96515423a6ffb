//! One-time keys are never used twice: not by processes that race, not by processes that are killed at any step, and not by
//! product folders that were put back.
//!
//! The tests start this very program again as a process of its own, which signs in a loop; `worker` is what it runs.

use packstaff_envelope::hss;
use packstaff_product::Date;
use packstaff_product::keyring::{
    KeyringFile, NewKeyring, OneTimeCount, OneTimeError, OtsKind, ReserveStep, TreeKind, Unlock,
};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const STEPS: [ReserveStep; 5] = [
    ReserveStep::Begun,
    ReserveStep::Locked,
    ReserveStep::Read,
    ReserveStep::WrittenBesideKeyring,
    ReserveStep::WrittenOnMachine,
];

/// A keyring with a tree, and a folder that stands for the machine.
struct Maker {
    temp: TempDir,
}

impl Maker {
    fn with(tree: TreeKind) -> Self {
        let maker = Self {
            temp: tempfile::tempdir().unwrap(),
        };
        let identity = age::x25519::Identity::generate();
        let text = age::secrecy::ExposeSecret::expose_secret(&identity.to_string()).to_owned();
        std::fs::write(maker.path("identity"), text).unwrap();
        std::fs::create_dir(maker.path("keys")).unwrap();
        let new = NewKeyring {
            date: date(),
            first_generation: "g1".to_owned(),
            also_for: Vec::new(),
            scrypt_work: None,
        };
        let mut file = KeyringFile::create(&maker.path("keys/keyring.age"), &new, &mut maker.unlock()).unwrap();
        file.add_tree_key(tree, OtsKind::W4, date(), &maker.machine(), &|_, _| ())
            .unwrap();
        maker
    }

    fn path(&self, name: &str) -> PathBuf {
        self.temp.path().join(name)
    }

    fn machine(&self) -> PathBuf {
        self.path("machine/one-time-keys")
    }

    fn unlock(&self) -> Unlock {
        Unlock::IdentityFile(self.path("identity"))
    }

    fn identity(&self) -> age::x25519::Identity {
        std::fs::read_to_string(self.path("identity")).unwrap().parse().unwrap()
    }

    fn keyring(&self) -> KeyringFile {
        KeyringFile::open(&self.path("keys/keyring.age"), &mut self.unlock()).unwrap()
    }

    fn count(&self) -> OneTimeCount {
        self.keyring().one_time_count(&self.machine()).unwrap()
    }

    fn own_count(&self) -> PathBuf {
        self.path("keys/keyring.age.used")
    }

    fn machine_count(&self) -> PathBuf {
        let mut files = std::fs::read_dir(self.machine())
            .unwrap()
            .map(|entry| entry.unwrap().path());
        files
            .find(|path| path.extension().is_some_and(|ending| ending == "used"))
            .unwrap()
    }

    /// A process that makes `rounds` signatures, and ends itself at step `end_at` of the last if that is told.
    fn worker(&self, rounds: u32, end_at: Option<usize>) -> Child {
        Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "worker", "--nocapture", "--quiet"])
            .env("PACKSTAFF_TEST_FOLDER", self.temp.path())
            .env("PACKSTAFF_TEST_ROUNDS", rounds.to_string())
            .env(
                "PACKSTAFF_TEST_END_AT",
                end_at.map_or(String::new(), |step| step.to_string()),
            )
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    }
}

fn date() -> Date {
    Date::new(2026, 1, 7).unwrap()
}

/// The one-time keys of the whole lines that a worker wrote: each is written once its signature is made.
fn signed_by(child: &mut Child) -> Vec<u32> {
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let words = lines.map_while(Result::ok).filter_map(|line| {
        let number = line.split_once("signed with ")?.1.strip_suffix('.')?.parse().ok()?;
        Some(number)
    });
    words.collect()
}

fn distinct(numbers: &[u32]) -> BTreeSet<u32> {
    let set: BTreeSet<u32> = numbers.iter().copied().collect();
    assert_eq!(set.len(), numbers.len(), "used twice: {numbers:?}");
    set
}

/// What the tests start as a process of its own. Started by hand, it has nothing to do.
#[test]
fn worker() {
    let Some(folder) = std::env::var_os("PACKSTAFF_TEST_FOLDER") else {
        return;
    };
    let number = |name: &str| std::env::var(name).unwrap().parse::<u32>().ok();
    let folder = Path::new(&folder);
    let mut unlock = Unlock::IdentityFile(folder.join("identity"));
    let path = folder.join("keys/keyring.age");
    let keyring = KeyringFile::open(&path, &mut unlock).unwrap();
    let key = keyring.keyring().tree_key().unwrap();
    let count = keyring.one_time_count(&folder.join("machine/one-time-keys")).unwrap();
    let branches = key.branches(&path, &|_, _| ()).unwrap();
    let rounds = number("PACKSTAFF_TEST_ROUNDS").unwrap();
    let end_at = number("PACKSTAFF_TEST_END_AT");
    for round in 1..=rounds {
        let mut steps = 0..;
        let one_time = count.reserve_watched(None, &mut |step| {
            let index = steps.next().unwrap();
            assert_eq!(step, STEPS[index as usize]);
            if round == rounds && end_at == Some(index) {
                // Ends at once, without a destructor: as a kill from outside does.
                std::process::abort();
            }
        });
        let one_time = one_time.unwrap();
        let said = one_time.number();
        let message = format!("process {} round {round}", std::process::id());
        let signature = key.sign(&branches, one_time, message.as_bytes());
        assert!(hss::holds(key.public_key(), message.as_bytes(), &signature));
        assert_eq!(hss::stated_leaf(&signature), Some(said));
        let mut out = std::io::stdout().lock();
        writeln!(out, "signed with {said}.").unwrap();
        out.flush().unwrap();
    }
}

#[test]
fn processes_that_race_never_share_a_one_time_key() {
    let maker = Maker::with(TreeKind::H10);
    let (processes, rounds) = (6, 20);
    let mut children: Vec<Child> = (0..processes).map(|_| maker.worker(rounds, None)).collect();
    let mut numbers = Vec::new();
    for child in &mut children {
        numbers.extend(signed_by(child));
        assert!(child.wait().unwrap().success());
    }
    let all = distinct(&numbers);
    // Nothing is lost either where nobody is killed.
    assert_eq!(all, (0..processes * rounds).collect());
    assert_eq!(maker.count().left(None).unwrap(), 1024 - processes * rounds);
}

#[test]
fn processes_that_are_ended_at_any_step_leave_no_number_to_be_used_twice() {
    let maker = Maker::with(TreeKind::H10);
    let mut numbers = Vec::new();
    for (index, step) in STEPS.iter().enumerate() {
        let mut child = maker.worker(3, Some(index));
        let signed = signed_by(&mut child);
        assert_eq!(signed.len(), 2, "ended at {step:?}");
        assert!(!child.wait().unwrap().success());
        numbers.extend(signed);
    }
    let mut last = maker.worker(2, None);
    numbers.extend(signed_by(&mut last));
    assert!(last.wait().unwrap().success());
    let all = distinct(&numbers);
    // The two ends behind the first write cost a number each.
    assert_eq!(*all.last().unwrap(), 2 * 5 + 2 + 2 - 1);
}

#[test]
fn processes_that_are_killed_at_any_moment_leave_no_number_to_be_used_twice() {
    let maker = Maker::with(TreeKind::H10);
    let mut numbers = Vec::new();
    for round in 0..12_u64 {
        let mut children = [maker.worker(1000, None), maker.worker(1000, None)];
        // Long enough to open the keyring; then a little longer each time.
        std::thread::sleep(Duration::from_millis(60 + 7 * round));
        for child in &mut children {
            child.kill().unwrap();
            numbers.extend(signed_by(child));
            child.wait().unwrap();
        }
    }
    let all = distinct(&numbers);
    assert!(
        all.len() > 12,
        "the workers were killed before they signed: {}",
        all.len()
    );
    let next = 1024 - maker.count().left(None).unwrap();
    assert!(all.last().is_none_or(|last| *last < next));
}

#[test]
fn an_older_count_in_one_place_does_not_matter() {
    let maker = Maker::with(TreeKind::H5);
    let count = maker.count();
    count.reserve(None).unwrap();
    for place in [maker.own_count(), maker.machine_count()] {
        let older = std::fs::read(&place).unwrap();
        let used = count.reserve(None).unwrap().number();
        std::fs::write(&place, older).unwrap();
        assert_eq!(count.reserve(None).unwrap().number(), used + 1);
    }
}

#[test]
fn a_count_that_is_gone_stops_signing_until_numbers_are_skipped() {
    let maker = Maker::with(TreeKind::H5);
    let count = maker.count();
    count.reserve(None).unwrap();
    std::fs::remove_file(maker.own_count()).unwrap();
    assert!(matches!(count.reserve(None), Err(OneTimeError::CountMissing(_))));
    assert!(matches!(count.left(None), Err(OneTimeError::CountMissing(_))));
    assert_eq!(count.skip(None, 4).unwrap(), 5, "this machine knew of one");
    assert_eq!(count.reserve(None).unwrap().number(), 5);

    std::fs::remove_file(maker.machine_count()).unwrap();
    assert!(matches!(count.reserve(None), Err(OneTimeError::OtherMachine { .. })));
    assert_eq!(count.skip(None, 0).unwrap(), 6);
    assert_eq!(count.reserve(None).unwrap().number(), 6);
}

/// Product folder and machine were both put back, and the ledger was not, as version control would have it.
#[test]
fn counts_behind_the_ledger_stop_signing() {
    let maker = Maker::with(TreeKind::H5);
    let count = maker.count();
    count.reserve(None).unwrap();
    let recorded = Some(9);
    let refused = count.reserve(recorded).unwrap_err();
    assert!(
        matches!(refused, OneTimeError::Behind { recorded: 9, next: 1 }),
        "{refused}"
    );
    assert_eq!(count.skip(recorded, 3).unwrap(), 13);
    assert_eq!(count.reserve(recorded).unwrap().number(), 13);
    assert_eq!(count.reserve(Some(13)).unwrap().number(), 14);
}

#[test]
fn the_last_one_is_the_last() {
    let maker = Maker::with(TreeKind::H5);
    let count = maker.count();
    for number in 0..32 {
        assert_eq!(count.left(None).unwrap(), 32 - number);
        assert_eq!(count.reserve(None).unwrap().number(), number);
    }
    assert_eq!(count.left(None).unwrap(), 0);
    assert!(matches!(count.reserve(None), Err(OneTimeError::Exhausted { .. })));
    assert_eq!(count.skip(None, 7).unwrap(), 32);
    assert!(matches!(count.reserve(Some(31)), Err(OneTimeError::Exhausted { .. })));
}

#[test]
fn damaged_and_foreign_counts_stop_signing() {
    let maker = Maker::with(TreeKind::H5);
    let count = maker.count();
    let good = std::fs::read_to_string(maker.own_count()).unwrap();
    for bad in [
        "",
        "next = 3",
        "\u{0}",
        &good.replace("next = 0", "next = -1"),
        &good.replace("next", "nexr"),
    ] {
        std::fs::write(maker.own_count(), bad).unwrap();
        assert!(
            matches!(count.reserve(None), Err(OneTimeError::Document { .. })),
            "{bad:?}"
        );
        assert!(
            matches!(count.skip(None, 1), Err(OneTimeError::Document { .. })),
            "{bad:?}"
        );
    }
    let other = Maker::with(TreeKind::H5);
    std::fs::copy(other.own_count(), maker.own_count()).unwrap();
    assert!(matches!(count.reserve(None), Err(OneTimeError::OtherKey { .. })));
}

/// The keyring can go back to its back-up; the count stays.
#[test]
fn a_restored_keyring_brings_no_number_back() {
    let maker = Maker::with(TreeKind::H5);
    let back_up = maker.path("back-up.age");
    maker.keyring().back_up(&back_up).unwrap();
    let used = maker.count().reserve(None).unwrap().number();
    std::fs::copy(&back_up, maker.path("keys/keyring.age")).unwrap();
    assert_eq!(maker.count().reserve(None).unwrap().number(), used + 1);
}

#[test]
fn a_key_is_made_once_and_its_branches_are_checked() {
    let maker = Maker::with(TreeKind::H5);
    let mut file = maker.keyring();
    let again = file.add_tree_key(TreeKind::H5, OtsKind::W8, date(), &maker.machine(), &|_, _| ());
    assert!(matches!(again, Err(packstaff_product::KeyringError::TreeKeyExists(_))));
    let path = maker.path("keys/keyring.age");
    let key = file.keyring().tree_key().unwrap();
    let good = key.branches(&path, &|_, _| ()).unwrap();
    for bad in [b"".as_slice(), &[7; 32], &[7; 64]] {
        std::fs::write(maker.path("keys/keyring.age.branches"), bad).unwrap();
        assert_eq!(key.branches(&path, &|_, _| ()).unwrap(), good, "computed anew");
    }
    let kept = std::fs::read(maker.path("keys/keyring.age.branches")).unwrap();
    assert_eq!(kept, good.roots().as_flattened());
    let shown = format!("{:?} {:?}", maker.keyring(), key.listing());
    let seed_line = std::fs::read(maker.path("keys/keyring.age")).unwrap();
    let open = age::decrypt(&maker.identity(), &seed_line).unwrap();
    let open = String::from_utf8(open).unwrap();
    let seed = open
        .lines()
        .find_map(|line| line.strip_prefix("seed = "))
        .unwrap()
        .trim_matches('"')
        .to_owned();
    assert_eq!(seed.len(), 64);
    assert!(!shown.contains(&seed), "{shown}");
}

/// RFC 8778, 4, read by a general CBOR library: key type 5, algorithm -46, the public key under -1.
#[test]
fn the_public_key_is_a_cose_key() {
    let maker = Maker::with(TreeKind::H5);
    let file = maker.keyring();
    let key = file.keyring().tree_key().unwrap();
    let bytes = key.cose_key();
    let mut decoder = minicbor::Decoder::new(&bytes);
    assert_eq!(decoder.map().unwrap(), Some(3));
    assert_eq!((decoder.i64().unwrap(), decoder.i64().unwrap()), (1, 5));
    assert_eq!((decoder.i64().unwrap(), decoder.i64().unwrap()), (3, -46));
    assert_eq!(decoder.i64().unwrap(), -1);
    assert_eq!(decoder.bytes().unwrap(), key.public_key());
    assert_eq!(decoder.position(), bytes.len());
}
