//! How long HSS-LMS takes on this machine: `cargo run --release -p packstaff-envelope --example hss_speed`.

use packstaff_envelope::hss::sign::{Branches, SecretTree};
use packstaff_envelope::hss::{OtsKind, TreeKind, holds};
use std::hint::black_box;
use std::time::Instant;

fn main() {
    println!("kind     a branch of 32 keys   all of H15   signature H15   checking one");
    for ots in OtsKind::ALL {
        let tree = SecretTree::new(TreeKind::H15, ots, [1; 16], &[2; 32]);
        let began = Instant::now();
        let root = black_box(tree.branch(0));
        let branch = began.elapsed();
        // The other branches' roots decide nothing about how long it takes.
        let branches = Branches::of(&tree, vec![root; tree.branch_count() as usize]);
        let Some(branches) = branches else { return };
        let key = tree.public_key(&branches);
        let signature = tree.sign(&branches, 0, b"message");
        let began = Instant::now();
        let rounds = 20;
        let good = (0..rounds)
            .filter(|_| black_box(holds(&key, b"message", &signature)))
            .count();
        let check = began.elapsed() / rounds;
        println!(
            "{ots:?}       {:>8.2} ms          {:>6.1} s     {:>5} bytes      {:>6.0} us{}",
            branch.as_secs_f64() * 1e3,
            branch.as_secs_f64() * f64::from(tree.branch_count()),
            signature.len(),
            check.as_secs_f64() * 1e6,
            if good == rounds as usize { "" } else { "  DOES NOT HOLD" },
        );
    }
}
