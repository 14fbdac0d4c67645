//! The regressions of decompositions, solved anew by a general-purpose statistics library; `regress.py` beside this file says which and how it comes here.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use cowitness_tests::python;
use host_harness::causes::{Decomposition, Samples, axis_columns};
use serde_json::{Value, json};

use super::machine::run;
use super::nuisance::{Nuisance, SETUP};
use super::planted::Main;

/// The samples and what was regressed, for the script.
fn write(folder: &Path, samples: &Samples, found: &Decomposition) {
    fs::create_dir_all(folder).expect("a scratch folder");
    let rows = usize::try_from(found.samples).expect("a few thousand");
    // Where a channel failed, the samples were cut.
    let mut samples = samples.clone();
    samples.points.truncate(rows);
    let columns = axis_columns(&samples, found.trusted);
    let mut text = "t,xa,xb,agea,ageb,x,v,a\n".to_owned();
    for (point, [x, v, a]) in samples.points.iter().zip(columns) {
        let ([xa, xb], [agea, ageb]) = (point.x, point.age);
        let _ = writeln!(text, "{},{xa},{xb},{agea},{ageb},{x},{v},{a}", point.t);
    }
    fs::write(folder.join("samples.csv"), text).expect("a scratch file");
    let regression = json!({ "coefficients": found.coefficients, "lags": found.lags, "trusted": found.trusted, "trip": samples.trip });
    fs::write(folder.join("regression.json"), regression.to_string()).expect("a scratch file");
}

/// What the library finds; `None` when it cannot be had.
fn solved(folders: &[PathBuf]) -> Option<Vec<Value>> {
    python("causes/regress.py", folders)
}

#[test]
fn coefficients_and_their_errors_are_those_of_a_statistics_library() {
    let scratch = Path::new(env!("CARGO_TARGET_TMPDIR")).join("causes");
    let mut all = Vec::new();
    for main in Main::ALL {
        let run = run(SETUP, &Nuisance::new(main, 50).scenario);
        let found = run.decompose();
        assert!(found.coefficients.len() > 1, "{main:?}: {found}");
        let folder = scratch.join(format!("{main:?}"));
        write(&folder, &run.samples, &found);
        all.push((folder, found));
    }
    let folders: Vec<PathBuf> = all.iter().map(|(folder, _)| folder.clone()).collect();
    let Some(solved) = solved(&folders) else { return };
    assert_eq!(solved.len(), all.len());
    for (other, (folder, found)) in solved.iter().zip(&all) {
        for (k, ours) in found.coefficients.iter().enumerate() {
            let [value, error] =
                ["coefficients", "errors"].map(|name| other[name][k].as_f64().expect("a number"));
            let place = format!("{} column {k}: {ours:?}, the library {value} +- {error}", folder.display());
            assert!((ours.value - value).abs() < 1e-6 * value.abs() + 1e-3 * error, "{place}");
            assert!((ours.standard_error - error).abs() < 1e-5 * error, "{place}");
        }
    }
}
