//! `sootwright demo`: the invented case, assessed.

use crate::cli::Demo;
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::words::say_with;
use crate::{args, assess, now, print, text};

/// Runs the command. The case lies in the folder afterwards, for a reader to change and assess again.
pub fn run(order: &Demo) -> Result<Outcome, Failure> {
    if order.serve {
        return crate::workshop::open(order);
    }
    let case = demo::readme_case(&order.out)
        .map_err(|e| Failure::Refused(say_with("error-internal-demo", &args! { "why" => e.to_string() })))?;
    let inputs = Inputs::read(&case, None)?;
    let assessment = assess::assess(&inputs);
    let made_at = now();
    let report = order.out.join("report.html");
    assess::write_report(&report, &assessment, &inputs, &made_at)?;
    let mut answer = text::assessment(&assessment, &inputs, &made_at);
    let path = |p: &std::path::Path| args! { "path" => p.display().to_string() };
    answer.push('\n');
    for line in [
        say_with("demo-written", &path(&case)),
        say_with("demo-report", &path(&report)),
        say_with("demo-next", &path(&case)),
    ] {
        answer.push_str(&line);
        answer.push('\n');
    }
    print(&answer)?;
    Ok(assess::outcome(&assessment))
}
