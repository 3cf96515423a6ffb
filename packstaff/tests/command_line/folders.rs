//! A release's folder is replaced as a whole, so whatever else is in it must stop the release.

use crate::support::{FAILED, Folder, HOLDS};

#[test]
fn a_folder_with_anything_else_in_it_is_left_alone() {
    let folder = Folder::small();
    std::fs::create_dir(folder.path("mine")).unwrap();
    folder.write("mine/thesis.txt", "three years");
    let before = folder.tree();
    for out in ["mine", ".", "firmware"] {
        folder
            .release("2.1", &["--out", out])
            .ended(FAILED)
            .complains("which is no part of a release: it would be lost");
    }
    folder
        .release("2.1", &["--out", "product.toml"])
        .ended(FAILED)
        .complains("is not a folder");
    assert_eq!(folder.tree(), before, "not even the ledger has changed");
}

#[test]
fn an_empty_folder_and_an_earlier_release_are_replaced() {
    let folder = Folder::small();
    std::fs::create_dir(folder.path("there")).unwrap();
    folder.release("2.1", &["--out", "there"]).ended(HOLDS);
    folder.write("there/OLD.UPD", "an update file that is no longer part of the release");
    folder.release("2.1", &["--out", "there"]).ended(HOLDS);
    assert!(!folder.path("there/OLD.UPD").exists());
    assert!(folder.path("there/stick.img").is_file());
    let leftovers: Vec<_> = std::fs::read_dir(folder.path("."))
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .filter(|name| name.to_string_lossy().starts_with('.'))
        .collect();
    assert!(leftovers.is_empty(), "{leftovers:?}");
}

#[test]
fn notes_of_the_maker_in_the_usual_folder_are_not_lost() {
    let folder = Folder::small();
    folder.release("2.1", &[]).ended(HOLDS);
    folder.write("out/2.1/to-print.txt", "twice");
    folder.release("2.1", &[]).ended(FAILED).complains("holds to-print.txt");
    assert_eq!(folder.text("out/2.1/to-print.txt"), "twice");
    folder.release("2.1", &["--dry-run"]).ended(HOLDS);
}
