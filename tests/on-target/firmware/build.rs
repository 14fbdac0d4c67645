//! The memory of the emulated board that each target runs on.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    let target = env::var("TARGET").expect("cargo names the target");
    let memory = match target.as_str() {
        "thumbv6m-none-eabi" => "microbit.x",
        "thumbv8m.main-none-eabihf" => "mps2-an505.x",
        "riscv32imac-unknown-none-elf" => "virt.x",
        _ => "mps2-an385.x",
    };
    println!("cargo:rustc-check-cfg=cfg(few)");
    if memory == "microbit.x" {
        println!("cargo:rustc-cfg=few");
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo names a folder"));
    fs::copy(format!("memory/{memory}"), out.join("memory.x")).expect("the memory can be copied");
    println!("cargo:rustc-link-search={}", out.display());
    if target.starts_with("riscv") {
        println!("cargo:rustc-link-arg-bins=-Tmemory.x");
    }
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    if env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
    println!("cargo:rerun-if-changed=memory");
}
