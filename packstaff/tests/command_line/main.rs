//! The program as its users meet it: the real binary, run on copies of the demo product.

mod budgets;
mod demo;
mod folders;
mod issues;
mod keys;
mod layouts;
mod look;
mod ports;
mod refusals;
mod rehearsals;
mod releases;
mod settings;
mod sticks;
mod streams;
mod support;
mod trace;
mod trees;
