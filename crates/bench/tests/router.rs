//! The bench without a socket: what is refused, what is kept, what every page keeps to.

use additive::message::Message;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode, header};
use bench::state::Person;
use bench::web::encoded;
use bench::words::Lang;
use bench::{Bench, House, router};
use facts::case::Case;
use infer::assessment::{Assessment, Text};
use infer::balance::Balance;
use maud::{Markup, html};
use serde_json::{Value, json};
use shop::{Id, Subject};
use std::sync::Arc;
use store::{Records, Sqlite};
use tempfile::TempDir;
use tower::ServiceExt as _;

/// Words by their identifiers: what is said is not the question here.
struct Bare;

impl House for Bare {
    fn text(&self, _: Lang, text: &Text) -> String {
        text.id.to_owned()
    }
    fn message(&self, _: Lang, message: &Message) -> String {
        message.key.to_owned()
    }
    fn pressure(&self, _: Lang, _: &Assessment) -> Markup {
        html! {}
    }
    fn balance(&self, _: Lang, _: &Balance) -> Markup {
        html! {}
    }
    fn life(&self, _: Lang, _: &Assessment, cases: &[&Case]) -> Markup {
        html! { p { "visits " (cases.len()) } }
    }
}

struct Shop {
    _folder: TempDir,
    bench: Bench,
    router: Router,
    ines: Id,
    tobias: Id,
}

const HOST: &str = "127.0.0.1:8017";

impl Shop {
    async fn new() -> Self {
        let folder = tempfile::tempdir().expect("folder");
        let records: Arc<dyn Records> = Arc::new(Sqlite::open(folder.path()).await.expect("records"));
        let bench = Bench::new(records, Arc::new(Bare)).expect("bench");
        let (ines, tobias) = (Bench::new_id(), Bench::new_id());
        for (id, name) in [(&ines, "Ines"), (&tobias, "Tobias")] {
            let person = Person { name: name.into(), left: false };
            bench.put("person", id.as_str(), name, &person, &ines).await.expect("person");
        }
        Self { _folder: folder, router: router(bench.clone()), bench, ines, tobias }
    }

    async fn send(&self, request: Request<Body>) -> (Response<()>, String) {
        let response = self.router.clone().oneshot(request).await.expect("infallible");
        let (head, body) = response.into_parts();
        let bytes = to_bytes(body, 1 << 24).await.expect("body");
        (Response::from_parts(head, ()), String::from_utf8_lossy(&bytes).into_owned())
    }

    async fn get(&self, path: &str) -> (Response<()>, String) {
        let request = Request::get(path)
            .header(header::HOST, HOST)
            .header(header::COOKIE, format!("duty={}", self.ines))
            .body(Body::empty());
        self.send(request.expect("request")).await
    }

    async fn post_as(&self, by: &Id, path: &str, fields: &[(&str, &str)]) -> (Response<()>, String) {
        let body: Vec<String> =
            fields.iter().map(|(k, v)| format!("{}={}", encoded(k), encoded(v))).collect();
        let request = Request::post(path)
            .header(header::HOST, HOST)
            .header(header::ORIGIN, format!("http://{HOST}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::COOKIE, format!("duty={by}"))
            .body(Body::from(body.join("&")));
        self.send(request.expect("request")).await
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> (Response<()>, String) {
        self.post_as(&self.ines.clone(), path, fields).await
    }

    async fn take_in(&self) -> String {
        let id = Bench::new_id();
        let (r, body) = self.post("/take-in", &intake(id.as_str())).await;
        assert_eq!(r.status(), StatusCode::SEE_OTHER, "{body}");
        place(&r)
    }

    /// Adds a fact by form, at the version that is there.
    async fn act(&self, by: &Id, job: &str, fields: &[(&str, &str)]) -> (StatusCode, String) {
        let id = Bench::new_id();
        let job_id = Id::parse(job.trim_start_matches("/job/")).expect("id");
        let version = self.bench.job(&job_id).await.expect("job").job.version.to_string();
        let mut all = vec![("id", id.as_str()), ("version", version.as_str())];
        all.extend_from_slice(fields);
        let (r, body) = self.post_as(by, &format!("{job}/fact"), &all).await;
        (r.status(), body)
    }
}

fn intake(id: &str) -> Vec<(&'static str, &str)> {
    vec![
        ("id", id),
        ("version", "0"),
        ("plate", "TR 614 M"),
        ("words", "grey estate"),
        ("complaint", "Pulls like it has a trailer"),
        ("owner", "A. Owner"),
        ("odometer_km", "148.212,0"),
        ("reservoir_kind", "pouch"),
        ("fluid", "concentrate-cerium-iron"),
        ("capacity_l", "2,1"),
        ("tare_g", "230"),
        ("t.wrong_fluid", "no"),
        ("t.oil_or_noise", "no"),
        ("t.leak", "no"),
        ("t.soot_over_limit", "unknown"),
    ]
}

fn place(r: &Response<()>) -> String {
    r.headers().get(header::LOCATION).and_then(|l| l.to_str().ok()).unwrap_or_default().to_owned()
}

#[tokio::test]
async fn property_nobody_comes_in_by_a_foreign_name_or_from_a_foreign_page() {
    let shop = Shop::new().await;
    for host in ["evil.example", "evil.example:8017", "192.168.0.7:8017", ""] {
        let request = Request::get("/").header(header::HOST, host).body(Body::empty()).expect("request");
        assert_eq!(shop.send(request).await.0.status(), StatusCode::MISDIRECTED_REQUEST, "{host:?}");
    }
    for host in ["127.0.0.1:1", "localhost", "[::1]:8017"] {
        let request = Request::get("/").header(header::HOST, host).body(Body::empty()).expect("request");
        assert_eq!(shop.send(request).await.0.status(), StatusCode::OK, "{host}");
    }
    let foreign = Request::post("/people")
        .header(header::HOST, HOST)
        .header(header::ORIGIN, "http://evil.example")
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .header(header::COOKIE, format!("duty={}", shop.ines))
        .body(Body::from(format!("person={}&name=Eve&do=new", Bench::new_id())))
        .expect("request");
    assert_eq!(shop.send(foreign).await.0.status(), StatusCode::FORBIDDEN);
    assert_eq!(shop.bench.people().await.expect("people").len(), 2);
}

#[tokio::test]
async fn property_other_addresses_than_this_machines_own_are_refused() {
    let shop = Shop::new().await;
    for address in ["0.0.0.0:0", "192.0.2.1:0", "[::]:0"] {
        let refused = bench::serve(
            shop.bench.clone(),
            address.parse().expect("address"),
            |_| panic!("listens on {address}"),
            std::future::ready(()),
        )
        .await;
        assert!(refused.is_err(), "{address}");
    }
}

#[tokio::test]
async fn property_every_page_keeps_to_the_policy_in_both_languages() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    shop.act(&shop.ines, &job, &[("kind", "planned"), ("p.refill", "on")]).await;
    let car = shop.bench.records().all("car").await.expect("cars").remove(0).subject.id().to_string();
    let mut pages: Vec<String> = [
        "/",
        "/duty",
        "/take-in",
        "/jobs",
        "/find?q=614",
        "/due",
        "/shelf",
        "/sources",
        "/people",
        "/settings",
        "/export",
        "/api",
    ]
    .map(str::to_owned)
    .to_vec();
    pages.push(format!("/car/{car}"));
    pages.push(format!("/take-in?car={car}"));
    for p in
        ["readings", "recording", "faults", "ways", "steps", "proof", "hand-over", "step/fill", "step/waste"]
    {
        pages.push(format!("{job}/{p}"));
    }
    for path in pages {
        for lang in ["en", "de"] {
            let request = Request::get(&path)
                .header(header::HOST, HOST)
                .header(header::COOKIE, format!("duty={}; lang={lang}", shop.ines))
                .body(Body::empty());
            let (r, body) = shop.send(request.expect("request")).await;
            assert_eq!(r.status(), StatusCode::OK, "{path}: {body}");
            let policy = r.headers().get(header::CONTENT_SECURITY_POLICY).expect("policy");
            assert!(policy.to_str().expect("text").starts_with("default-src 'none'"));
            assert!(body.contains(&format!("<html lang=\"{lang}\"")), "{path}");
            for bad in ["<style", " style=", "<script>", " onclick", "javascript:", "http://", "https://"] {
                assert!(!body.contains(bad), "{path} holds {bad:?}");
            }
            // A message without words stands in brackets.
            let left = body.split("[").skip(1).filter_map(|r| r.split(']').next());
            let words: Vec<&str> =
                left.filter(|w| w.contains('-') && w.len() < 60 && !w.contains(' ')).collect();
            assert!(words.is_empty(), "{path}, {lang}: no words for {words:?}");
            assert!(body.len() < 150_000, "{path} has {} bytes", body.len());
        }
    }
}

#[tokio::test]
async fn property_a_form_sent_twice_does_nothing_twice() {
    let shop = Shop::new().await;
    let id = Bench::new_id();
    let (first, _) = shop.post("/take-in", &intake(id.as_str())).await;
    let (second, _) = shop.post("/take-in", &intake(id.as_str())).await;
    assert_eq!((place(&first), second.status()), (place(&second), StatusCode::SEE_OTHER));
    assert_eq!(shop.bench.records().all("job").await.expect("jobs").len(), 1);
    let again = shop.take_in().await;
    assert_ne!(again, place(&first));
    assert_eq!(shop.bench.records().all("car").await.expect("cars").len(), 1, "the same plate, the same car");
}

#[tokio::test]
async fn property_an_entry_needs_a_name_and_two_tabs_do_not_mix() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    let id = Bench::new_id();
    let fields = [("id", id.as_str()), ("version", "1"), ("kind", "planned"), ("p.refill", "on")];
    let request = Request::post(format!("{job}/fact"))
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(format!("id={id}&version=1&kind=planned&p.refill=on")));
    let (r, body) = shop.send(request.expect("request")).await;
    assert_eq!(r.status(), StatusCode::FORBIDDEN);
    assert!(body.contains("/duty?back="));
    for _ in 0..2 {
        assert_eq!(
            shop.post(&format!("{job}/fact"), &fields).await.0.status(),
            StatusCode::SEE_OTHER,
            "sent twice"
        );
    }
    let other = Bench::new_id();
    let late = [("id", other.as_str()), ("version", "1"), ("kind", "locked"), ("why", "leak")];
    let (r, body) = shop.post(&format!("{job}/fact"), &late).await;
    assert_eq!(r.status(), StatusCode::CONFLICT);
    assert!(body.contains("Somebody else was here"), "{body}");
    let kept = Id::parse(job.trim_start_matches("/job/")).expect("id");
    assert_eq!(shop.bench.records().facts(&Subject::Job(kept)).await.expect("facts").len(), 2);
}

#[tokio::test]
async fn property_a_wrong_bottle_is_held_and_a_second_pair_of_eyes_is_asked_for() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    shop.act(&shop.ines, &job, &[("kind", "planned"), ("p.refill", "on")]).await;
    let look = |fluid: &'static str, lot: &'static str| {
        [("kind", "looked"), ("how", "label"), ("fluid", fluid), ("lot", lot), ("expiry", "2099-01-31")]
    };
    let tick = [("kind", "step_done"), ("step", "compare_fluid")];
    for step in ["before_readings", "lift_up"] {
        shop.act(&shop.ines, &job, &[("kind", "step_done"), ("step", step)]).await;
    }
    shop.act(&shop.ines, &job, &look("aus-32", "U-1")).await;
    let (status, body) = shop.act(&shop.ines, &job, &tick).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    let page = shop.get(&format!("{job}/step/compare_fluid")).await.1;
    assert!(page.contains("Wrong fluid") || body.contains("Wrong fluid"), "{body}");
    shop.act(&shop.ines, &job, &look("concentrate-cerium-iron", "26-1")).await;
    let page = shop.get(&format!("{job}/step/compare_fluid")).await.1;
    assert!(page.contains("A second look is owed"), "{page}");
    shop.act(&shop.tobias, &job, &look("concentrate-cerium-iron", "26-1")).await;
    let page = shop.get(&format!("{job}/step/compare_fluid")).await.1;
    assert!(!page.contains("A second look is owed"), "{page}");
}

#[tokio::test]
async fn property_readings_are_kept_with_comma_and_point_and_corrected_by_new_facts() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    let car = shop.bench.records().all("car").await.expect("cars").remove(0);
    let send = async |form: &Id, held: &str, version: u64| {
        let v = version.to_string();
        let fields = [
            ("id", form.as_str()),
            ("version", &v),
            ("role", "before"),
            ("key_on", "0,8"),
            ("hot_idle", "5.2"),
            ("held_2500", held),
            ("coolant", ""),
            ("weighed", "1186"),
        ];
        shop.post(&format!("{job}/readings"), &fields).await.0.status()
    };
    let first = Bench::new_id();
    assert_eq!(send(&first, "17.4", car.version).await, StatusCode::SEE_OTHER);
    assert_eq!(send(&first, "17.4", car.version).await, StatusCode::SEE_OTHER, "sent twice");
    let subject = car.subject.clone();
    let facts = async || shop.bench.records().facts(&subject).await.expect("facts").len() as u64;
    assert_eq!(facts().await, car.version + 4);
    assert_eq!(send(&Bench::new_id(), "18,4", car.version).await, StatusCode::CONFLICT, "an old tab");
    assert_eq!(send(&Bench::new_id(), "18,4", facts().await).await, StatusCode::SEE_OTHER);
    let seen = shop.bench.car(subject.id(), None).await.expect("car");
    let held: Vec<f64> =
        seen.case.reading.iter().filter(|r| r.engine_speed_rpm.is_some()).map(|r| r.value).collect();
    assert_eq!(held, [18.4], "the new number counts, the old one stays on record");
    assert_eq!(facts().await, car.version + 5);
    let (r, body) = shop
        .post(
            &format!("{job}/readings/try"),
            &[("id", Bench::new_id().as_str()), ("role", "before"), ("held_2500", "about 20")],
        )
        .await;
    assert_eq!(r.status(), StatusCode::UNPROCESSABLE_ENTITY, "{body}");
}

#[tokio::test]
async fn property_programs_get_json_and_problems_as_promised() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    let (r, body) = shop.get("/api/v1/openapi.json").await;
    assert_eq!(r.status(), StatusCode::OK);
    let document: Value = serde_json::from_str(&body).expect("JSON");
    assert!(document["openapi"].as_str().expect("version").starts_with("3.1"));
    let kinds = document["components"]["schemas"]["What"]["oneOf"].as_array().expect("kinds").len();
    assert!(kinds >= 20, "{kinds} kinds of facts");
    let (r, body) = shop.get("/api/v1/jobs/nothing").await;
    assert_eq!(r.status(), StatusCode::NOT_FOUND);
    assert_eq!(r.headers()[header::CONTENT_TYPE], "application/problem+json");
    assert_eq!(serde_json::from_str::<Value>(&body).expect("JSON")["status"], 404);
    let post = async |body: &Value| {
        let request = Request::post(format!("/api/v1{}/facts", job.replace("/job/", "/jobs/")))
            .header(header::HOST, HOST)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body.to_string()));
        let (r, body) = shop.send(request.expect("request")).await;
        (r.status(), serde_json::from_str::<Value>(&body).expect("JSON"))
    };
    let fact = json!({
        "id": Bench::new_id(), "by": shop.ines, "expected_version": 1,
        "what": { "kind": "planned", "procedures": ["refill"] },
    });
    let (status, first) = post(&fact).await;
    assert_eq!(status, StatusCode::OK, "{first}");
    let (status, second) = post(&fact).await;
    assert_eq!(
        (status, &second["repeated"], &second["hash"]),
        (StatusCode::OK, &json!(true), &first["hash"])
    );
    let step =
        json!({ "id": Bench::new_id(), "by": shop.ines, "what": { "kind": "step_done", "step": "fill" } });
    let (status, told) = post(&step).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "interlocks hold here too: {told}");
    let stranger = json!({ "id": Bench::new_id(), "by": Bench::new_id(), "what": { "kind": "signed" } });
    assert_eq!(post(&stranger).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    let odd = json!({ "id": Bench::new_id(), "by": shop.ines, "what": { "kind": "step_done", "step": 3 } });
    assert_eq!(post(&odd).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    let (r, body) = shop.get(&format!("/api/v1{}", job.replace("/job/", "/jobs/"))).await;
    assert_eq!(r.status(), StatusCode::OK, "{body}");
    assert!(body.contains("fluid_confirmed"));
}

#[tokio::test]
async fn property_a_photo_loses_what_stands_beside_it_and_other_files_are_refused() {
    let shop = Shop::new().await;
    let job = shop.take_in().await;
    shop.act(&shop.ines, &job, &[("kind", "planned"), ("p.refill", "on")]).await;
    let send = async |bytes: &[u8]| {
        let mut body = Vec::new();
        let id = Bench::new_id();
        for (name, value) in [
            ("id", id.as_str()),
            ("version", "2"),
            ("back", "/"),
            ("step", "inspect_pouch"),
            ("item", "pouch"),
        ] {
            body.extend(
                format!("--x\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").bytes(),
            );
        }
        body.extend(b"--x\r\ncontent-disposition: form-data; name=\"file\"; filename=\"p.png\"\r\n\r\n");
        body.extend(bytes);
        body.extend(b"\r\n--x--\r\n");
        let request = Request::post(format!("{job}/photo"))
            .header(header::HOST, HOST)
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=x")
            .header(header::COOKIE, format!("duty={}", shop.ines))
            .body(Body::from(body));
        shop.send(request.expect("request")).await
    };
    assert_eq!(send(b"<svg onload=alert(1)>").await.0.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE);
    let chunk = |name: &[u8], body: &[u8]| {
        let mut c = (body.len() as u32).to_be_bytes().to_vec();
        c.extend(name);
        c.extend(body);
        c.extend([0; 4]);
        c
    };
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    for (n, b) in
        [(b"IHDR", &b"head"[..]), (b"eXIf", b"GPS 59 N"), (b"tEXt", b"GPS"), (b"IDAT", b"x"), (b"IEND", b"")]
    {
        png.extend(chunk(n, b));
    }
    let (r, body) = send(&png).await;
    assert_eq!(r.status(), StatusCode::SEE_OTHER, "{body}");
    let id = Id::parse(job.trim_start_matches("/job/")).expect("id");
    let kept = shop.bench.job(&id).await.expect("job").job.proof.remove(0).file.expect("file");
    let bytes = shop.bench.records().files().get(&kept).expect("read").expect("there");
    assert!(!String::from_utf8_lossy(&bytes).contains("GPS"));
}
