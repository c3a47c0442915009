//! `GET` and `POST /owner/services/{id}/steps`, `…/steps/{product}` and `/owner/skin-test-steps`: what goes where, and for
//! how long. Template: `owner/steps.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use super::{Done, done, filled, id, there};
use crate::actions::steps as own;
use crate::app::App;
use crate::domain::ids::{ProductId, ServiceId};
use crate::domain::steps::{Minutes, Part, Plan, Step, StepRefused};
use crate::store::steps::Subject;
use crate::store::{Connection, catalogue, steps};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

#[derive(Template)]
#[template(path = "owner/steps.html")]
struct StepsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    of: Of,
}

/// What the steps are of.
struct Of {
    subject: Subject,
    /// The service's name, with that of the product.
    title: String,
    back: (String, String),
    path: String,
    version: u32,
    plan: Plan,
    /// Products that may have steps of their own, and whether they have: address and name.
    products: Vec<(String, String, bool)>,
}

impl Of {
    async fn service(c: &mut Connection, service: &str, product: Option<&str>) -> Result<Self, Fault> {
        let service = there(catalogue::service(c, &id(ServiceId::parse(service))?).await?)?;
        let base = format!("/owner/services/{}", service.id);
        let all = catalogue::products(c).await?;
        let product = match product {
            Some(product) => {
                let product = id(ProductId::parse(product))?;
                Some(there(all.iter().find(|one| one.id == product))?)
            }
            None => None,
        };
        let with_own = steps::products_with_plan(c, &service.id).await?;
        let (version, plan) = own::plan(c, &service, product.map(|one| &one.id)).await?;
        let fits = all.iter().filter(|one| service.kind.chemistries().contains(&one.chemistry) && one.active);
        let products = fits
            .map(|one| (format!("{base}/steps/{}", one.id), one.name.clone(), with_own.contains(&one.id)))
            .collect();
        Ok(Self {
            title: match product {
                Some(product) => {
                    let words = crate::tf("{service} with {product}");
                    words.with("service", &service.name).with("product", &product.name).to_string()
                }
                None => service.name.clone(),
            },
            back: if product.is_some() {
                (format!("{base}/steps"), crate::t("The studio’s steps").to_owned())
            } else {
                (base.clone(), service.name.clone())
            },
            path: product.map_or_else(|| format!("{base}/steps"), |one| format!("{base}/steps/{}", one.id)),
            products: if product.is_some() { Vec::new() } else { products },
            subject: Subject::Service(service.id, product.map(|one| one.id.clone())),
            version,
            plan,
        })
    }

    async fn skin_test(c: &mut Connection) -> Result<Self, Fault> {
        let (version, plan) = own::skin_test(c).await?;
        Ok(Self {
            subject: Subject::SkinTest,
            title: crate::t("Skin test").to_owned(),
            back: ("/owner/services".to_owned(), crate::t("Services").to_owned()),
            path: "/owner/skin-test-steps".to_owned(),
            version,
            plan,
            products: Vec::new(),
        })
    }
}

impl StepsPage {
    fn new(ctx: Ctx, of: Of, fields: Option<Fields>, errors: Errors) -> Self {
        let fields = fields.unwrap_or_else(|| stored(&of.plan));
        Self { ctx, fields, errors, of }
    }

    fn get(&self, field: &str, number: &usize) -> &str {
        self.fields.get(&format!("{field}_{number}"))
    }

    fn error(&self, field: &str, number: &usize) -> Option<&str> {
        self.errors.of(&format!("{field}_{number}"))
    }
}

const TIMES: [&str; 5] = ["usual", "most", "fine", "tinted", "lifted"];

fn stored(plan: &Plan) -> Fields {
    let mut pairs = Vec::new();
    for (number, step) in plan.steps().iter().enumerate() {
        let mut put = |field: &str, value: String| pairs.push((format!("{field}_{number}"), value));
        put("name", step.name().to_owned());
        put("place", step.place().to_owned());
        put("part", step.part().as_str().to_owned());
        if let Some(minutes) = step.minutes() {
            let times = [Some(minutes.usual), Some(minutes.most), minutes.fine, minutes.tinted, minutes.lifted];
            for (field, time) in TIMES.into_iter().zip(times) {
                put(field, time.map_or_else(String::new, |time| time.to_string()));
            }
        }
    }
    if pairs.is_empty() { filled::<0>([]) } else { Fields::of(pairs) }
}

fn read(fields: &Fields, errors: &mut Errors) -> Option<Plan> {
    let mut steps = Vec::new();
    for number in 0..Plan::MOST_STEPS {
        let get = |field: &str| fields.trimmed(&format!("{field}_{number}"));
        if ["name", "place"].into_iter().chain(TIMES).all(|field| get(field).is_empty()) {
            continue;
        }
        let mut refuse = |field: &str, words: String| errors.add(&format!("{field}_{number}"), words);
        let mut times = [None; 5];
        for (field, time) in TIMES.into_iter().zip(&mut times) {
            let typed = get(field);
            let digits = typed.bytes().all(|byte| byte.is_ascii_digit());
            *time = typed.parse::<u16>().ok().filter(|minutes| digits && (1..=Step::MOST_MINUTES).contains(minutes));
            if time.is_none() && !typed.is_empty() {
                refuse(field, words::range(1, Step::MOST_MINUTES.into()));
            }
        }
        let minutes = match times {
            [Some(usual), Some(most), fine, tinted, lifted] => Some(Minutes { usual, most, fine, tinted, lifted }),
            [None, None, None, None, None] => None,
            [None, ..] => {
                refuse("usual", words::MISSING.to_owned());
                None
            }
            _ => {
                refuse("most", crate::t("Write the label’s longest time, or the same as the usual one.").to_owned());
                None
            }
        };
        let part = Part::parse(get("part")).unwrap_or(Part::Other);
        match Step::parse(get("name"), get("place"), part, minutes) {
            Ok(step) => steps.push(step),
            Err(StepRefused::Name(refusal)) => refuse("name", words::text(&refusal)),
            Err(StepRefused::Place(refusal)) => refuse("place", words::text(&refusal)),
            Err(StepRefused::OverMost) => {
                refuse("usual", crate::t("That is longer than the label’s longest time.").to_owned());
            }
            Err(StepRefused::NotReduced) => {
                refuse("fine", crate::t("These times must not be longer than the usual one.").to_owned());
            }
            Err(StepRefused::Range) => refuse("usual", words::range(1, Step::MOST_MINUTES.into())),
            Err(StepRefused::Count) => {}
        }
    }
    if steps.is_empty() && errors.is_empty() {
        errors.add("name_0", words::MISSING);
    }
    if errors.is_empty() { Plan::parse(steps).ok() } else { None }
}

async fn save(app: &App, ctx: Ctx, team: &Team, of: Of, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let Some(plan) = read(&fields, &mut errors) else {
        return Ok(Page::refused(StepsPage::new(ctx, of, Some(fields), errors)).into_response());
    };
    own::save_plan(app, &team.0, &of.subject, &plan).await?;
    Ok(done(&of.path, "saved"))
}

fn show(ctx: Ctx, of: Of, said: Option<&str>) -> Response {
    Page::ok(StepsPage::new(ctx.saying(said), of, None, Errors::new())).into_response()
}

/// Shows the steps of a service.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(service): Path<String>, Done(said): Done) -> Answer {
    let of = Of::service(&mut *app.db.read().await?, &service, None).await?;
    Ok(show(ctx, of, said))
}

/// Changes them.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(service): Path<String>, fields: Fields) -> Answer {
    let of = Of::service(&mut *app.db.read().await?, &service, None).await?;
    save(&app, ctx, &team, of, fields).await
}

/// Shows those with a product.
pub async fn get_product(
    State(app): State<App>,
    ctx: Ctx,
    Path((service, product)): Path<(String, String)>,
    Done(said): Done,
) -> Answer {
    let of = Of::service(&mut *app.db.read().await?, &service, Some(&product)).await?;
    Ok(show(ctx, of, said))
}

/// Changes those.
pub async fn post_product(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path((service, product)): Path<(String, String)>,
    fields: Fields,
) -> Answer {
    let of = Of::service(&mut *app.db.read().await?, &service, Some(&product)).await?;
    save(&app, ctx, &team, of, fields).await
}

/// Shows the steps of a skin test.
pub async fn get_skin_test(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let of = Of::skin_test(&mut *app.db.read().await?).await?;
    Ok(show(ctx, of, said))
}

/// Changes them.
pub async fn post_skin_test(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let of = Of::skin_test(&mut *app.db.read().await?).await?;
    save(&app, ctx, &team, of, fields).await
}
