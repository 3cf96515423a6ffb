//! Issues: raising the number bars what was sent under a lower one, until it is issued again.

use crate::support::{Folder, HOLDS, row, verdicts};

#[test]
fn a_raised_issue_bars_older_files_until_they_are_issued_again() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    let first = folder.release("2.1", &["--json"]).ended(HOLDS).json();
    assert_eq!(verdicts(&first, "Rehearsal", "back-to-1.8"), ["pass"]);
    let old = folder.bytes("ledger/2.1/KC4C-2-1.UPD");

    folder.edit("product.toml", "issue = 1 ", "issue = 2 ");
    let barred = folder.release("2.1", &["--json"]).ended(HOLDS).json();
    assert_eq!(verdicts(&barred, "Rehearsal", "from-1.8"), ["pass"]);
    assert!(
        row(&barred, "Rehearsal", "back-to-1.8").is_none(),
        "1.8 has issue 1 still"
    );
    assert!(folder.text("ledger/2.1-issue-2/release.toml").contains("issue = 2"));
    assert!(
        folder.bytes("ledger/2.1/KC4C-2-1.UPD") == old,
        "what went out stays as it was"
    );
    assert!(folder.bytes("out/2.1/KC4C-2-1.UPD") == folder.bytes("ledger/2.1-issue-2/KC4C-2-1.UPD"));
    assert!(folder.bytes("out/2.1/KC4C-2-1.UPD") != old);

    folder.release("1.8", &[]).ended(HOLDS);
    let again = folder.release("2.1", &["--json"]).ended(HOLDS).json();
    assert_eq!(verdicts(&again, "Rehearsal", "back-to-1.8"), ["pass"]);
}

#[test]
fn owners_may_go_back_no_further_than_the_oldest_version_of_the_policy() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.release("2.0", &[]).ended(HOLDS);
    folder.edit("product.toml", "oldest = \"1.8\"", "oldest = \"2.0\"");
    let report = folder.release("2.1", &["--json", "--dry-run"]).ended(HOLDS).json();
    assert!(row(&report, "Rehearsal", "back-to-1.8").is_none());
    assert_eq!(verdicts(&report, "Rehearsal", "back-to-2.0"), ["pass"]);
    assert_eq!(verdicts(&report, "Rehearsal", "from-1.8"), ["pass"]);
}
