//! A compiler for processors without an operating system: rustup's, where it has the processor's core library, or else Debian's,
//! which builds that library from its sources.

use crate::run::{House, capture, which};
use std::path::Path;
use std::process::Command;

/// The processors that unit-side code is built for.
pub(crate) const TARGETS: [&str; 4] = [
    "thumbv6m-none-eabi",
    "thumbv7m-none-eabi",
    "thumbv7em-none-eabi",
    "riscv32imc-unknown-none-elf",
];

/// Debian's packages that together do what `rustup target add` does.
pub(crate) const DEBIAN: &str = "rustc-web cargo-web rust-web-src lld";

/// Where Debian's packages put things.
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";
const DEBIAN_CARGO: &str = "/usr/bin/cargo";
const DEBIAN_SOURCES: &str = "/usr/lib/rustlib/src/rust/library/core/src/lib.rs";

/// A compiler for one processor.
pub(crate) struct Bare<'h> {
    house: &'h House,
    target: &'static str,
    compiler: Compiler,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Compiler {
    Rustup,
    Debian,
}

impl<'h> Bare<'h> {
    /// Finds a compiler. `PACKSTAFF_BARE=rustup` or `PACKSTAFF_BARE=debian` leaves only that one.
    ///
    /// # Errors
    /// There is none; what to install.
    pub(crate) fn find(house: &'h House, target: &'static str) -> Result<Self, String> {
        let wanted = std::env::var("PACKSTAFF_BARE").ok();
        let may_be = |name: &str| wanted.as_deref().is_none_or(|wanted| wanted == name);
        if let Some(unknown) = wanted.as_deref().filter(|name| !["rustup", "debian"].contains(name)) {
            return Err(format!("PACKSTAFF_BARE is {unknown:?}; it can be rustup or debian"));
        }
        let compiler = if may_be("rustup") && rustup_has(house, target) {
            Compiler::Rustup
        } else if may_be("debian") && debian_is_there() {
            Compiler::Debian
        } else {
            return Err(format!(
                "there is no compiler for {target} here. Where rustup is: rustup target add {target}\n\
                 On Debian 12: apt-get update && apt-get install --no-install-recommends {DEBIAN}"
            ));
        };
        Ok(Self {
            house,
            target,
            compiler,
        })
    }

    /// Where the compiler comes from, for the reader.
    pub(crate) const fn name(&self) -> &'static str {
        match self.compiler {
            Compiler::Rustup => "rustup's compiler",
            Compiler::Debian => "Debian's compiler",
        }
    }

    /// A command of cargo for this processor. Its results lie in `<target folder>/bare/<processor>/<profile>`.
    pub(crate) fn cargo(&self, verb: &str) -> Command {
        let mut cargo = match self.compiler {
            Compiler::Rustup => self.house.cargo(&[verb]),
            Compiler::Debian => {
                let mut cargo = self.house.cargo_at(DEBIAN_CARGO, &[verb, "-Z", "build-std=core"]);
                // Building the core library from its sources is not for everyone yet, and this compiler is not a nightly one.
                cargo.env("RUSTC", DEBIAN_RUSTC).env("RUSTC_BOOTSTRAP", "1");
                let name = self.target.to_uppercase().replace('-', "_");
                cargo.env(format!("CARGO_TARGET_{name}_LINKER"), "ld.lld");
                cargo
            }
        };
        cargo
            .args(["--quiet", "--locked", "--target", self.target])
            // What is set for the host's programs is not meant for a unit's.
            .env_remove("RUSTFLAGS")
            .env_remove("CARGO_ENCODED_RUSTFLAGS")
            .env("CARGO_TARGET_DIR", self.folder());
        cargo
    }

    /// The folder that cargo's results lie in, below it by processor and profile.
    pub(crate) fn folder(&self) -> std::path::PathBuf {
        self.house.target.join("bare")
    }
}

/// Whether rustup's compiler, the one that runs this program, has the processor's core library.
pub(crate) fn rustup_has(house: &House, target: &str) -> bool {
    let asked = ["--print", "target-libdir", "--target", target];
    capture(house.command("rustc").args(asked))
        .ok()
        .and_then(|said| String::from_utf8(said).ok())
        .is_some_and(|folder| Path::new(folder.trim()).is_dir())
}

fn debian_is_there() -> bool {
    [DEBIAN_RUSTC, DEBIAN_CARGO, DEBIAN_SOURCES]
        .into_iter()
        .all(|file| Path::new(file).exists())
        && which("ld.lld").is_some()
}

/// Whether every processor can be built for; if not, which cannot.
pub(crate) fn missing(house: &House) -> Vec<&'static str> {
    let lacks = |target: &&'static str| Bare::find(house, target).is_err();
    TARGETS.into_iter().filter(lacks).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_processor_has_a_command() {
        let house = House::find().unwrap();
        for target in TARGETS {
            for compiler in [Compiler::Rustup, Compiler::Debian] {
                let bare = Bare {
                    house: &house,
                    target,
                    compiler,
                };
                let cargo = bare.cargo("build");
                let arguments: Vec<_> = cargo.get_args().collect();
                assert_eq!(
                    arguments.contains(&"build-std=core".as_ref()),
                    compiler == Compiler::Debian
                );
                assert!(arguments.contains(&target.as_ref()));
            }
        }
    }
}
