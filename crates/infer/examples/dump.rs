//! dump
fn main() {
    for n in 1..=200 {
        let dir = std::path::PathBuf::from(format!("/tmp/demo-cases/case-{n:04}"));
        let Ok(t) = std::fs::read_to_string(dir.join("case.toml")) else { continue };
        let Ok(case) = facts::load_case(&t, "case.toml") else { continue };
        let truth = std::fs::read_to_string(dir.join("truth.json")).unwrap();
        let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
        let Some(row) = case.recording.last() else { continue };
        let o = recording::Options { column_names: row.columns.clone(), ..Default::default() };
        let Ok(r) = recording::read_path(&dir.join(&row.file), &o) else {
            println!("{n} unreadable");
            continue;
        };
        let vd = case.car.displacement_l.map(|d| d / 1000.0);
        let c = infer::conditions::Conditions::new(&r, 835.0, vd);
        let s = infer::signs::read(&c, vd);
        let st = infer::summary::Standard::new(0.05, 1e5);
        let m = infer::summary::summarise(&c, &st, None, 0, false);
        let v: Vec<String> =
            s.list.iter().map(|x| format!("{}={:.2}", x.name.trim_start_matches("sign-"), x.value)).collect();
        let regen =
            m.windows.iter().filter(|w| w.state == "regeneration").map(|w| w.end_s - w.start_s).sum::<f64>();
        println!(
            "{n} {} {} | {} | tc {:?} ex {:?} fr {:.1} const {} use {:.0} src {:?} ts {} rows {} regen {:.0} prob {}",
            truth["fault"],
            truth["session"],
            v.join(" "),
            m.time_constant_s,
            m.explained.map(|x| (x * 100.0).round() / 100.0),
            m.flow_range,
            m.constant,
            m.usable_s,
            m.flow_source,
            c.filter_sensors,
            m.rows.len(),
            regen,
            r.problems.len()
        );
    }
}
