//! The installer for loaders written in C.
//!
//! `include/packstaff_installer.h` is the other side of this crate, and says what each call means. Here is what makes it safe:
//!
//! - **No global state, no heap.** A machine lives in storage that the caller brings; its size and alignment are constants,
//!   checked when this crate is compiled ([`types::INSTALLER_SIZE`]). Nothing is kept but what lies there, and no pointer of
//!   the caller's is remembered after a call returns.
//! - **Every pointer is looked at before it is used** (module `pointer`): null, misaligned and overlapping ones give a return code.
//!   So does storage in which no machine was begun, which shows by its mark (module `storage`). That memory behind a pointer is
//!   really there, and holds what the caller says, no callee can see in C: those are the callers' duties, and the header
//!   lists them.
//! - **No panic**: what the installer's own crates keep to holds here too.
//!
//! Built as a static library (`cargo xtask library`), or linked from Rust for tests.

#![no_std]

#[cfg(not(target_os = "none"))]
extern crate std;

pub mod calls;
mod config;
pub mod layout;
#[cfg(all(target_os = "none", feature = "panic-handler"))]
mod panics;
mod pointer;
mod reply;
mod request;
mod rows;
mod storage;
pub mod types;
