//! Every route, with who may call it. The table builds the router, and feeds the test that tries every
//! route as every kind of person.

use axum::Router;
use axum::http::Method;
use axum::routing::{MethodRouter, get, post};

use crate::app::App;
use crate::domain::role::Who;
use crate::web::room::Room;
use crate::web::{assets, client, face, files, guard, owner, practitioner, public, system, team};

/// One route.
pub struct Route {
    /// `GET` (which answers `HEAD` too) or `POST`.
    pub method: Method,
    /// The path's pattern.
    pub path: &'static str,
    /// Who may call it.
    pub who: Who,
    /// What answers.
    pub handler: MethodRouter<App>,
}

macro_rules! routes {
    ($($method:ident $path:literal $who:ident $handler:path),+ $(,)?) => {
        vec![$(Route { method: routes!(@ $method), path: $path, who: Who::$who, handler: $method($handler) }),+]
    };
    (@ get) => { Method::GET };
    (@ post) => { Method::POST };
}

/// All of them, filed like `web/`.
pub fn table() -> Vec<Route> {
    let mut all = system_routes();
    all.extend(public_routes());
    all.extend(team_routes());
    all.extend(client_routes());
    all.extend(practitioner_routes());
    all.extend(owner_routes());
    all
}

fn system_routes() -> Vec<Route> {
    routes![
        get "/healthz" Anyone system::health,
        get "/static/{stamp}/{name}" Anyone assets::get,
        get "/static/{name}" Anyone assets::plain,
        get "/face/{stamp}/app.css" Anyone face::style,
        get "/face/{stamp}/logo.jpg" Anyone face::logo,
        get "/favicon.ico" Anyone system::icon,
        get "/.well-known/security.txt" Anyone system::security,
    ]
}

fn public_routes() -> Vec<Route> {
    routes![
        get "/set-up" Anyone public::set_up::get,
        post "/set-up" Anyone public::set_up::post,
        get "/" Anyone public::services::get,
        get "/services/{id}" Anyone public::book::times::get,
        post "/services/{id}/hold" Anyone public::book::times::post,
        get "/book/{id}" Anyone public::book::hold::get,
        post "/book/{id}" Anyone public::book::hold::post,
        get "/book/{id}/details" Anyone public::book::details::get,
        post "/book/{id}/details" Anyone public::book::details::post,
        get "/book/{id}/answers" Anyone public::book::review::get,
        post "/book/{id}/answers" Anyone public::book::review::post,
        get "/book/{id}/health/{n}" Anyone public::book::questions::get,
        post "/book/{id}/health/{n}" Anyone public::book::questions::post,
        get "/book/{id}/sign" Anyone public::book::sign::get,
        post "/book/{id}/sign" Anyone public::book::sign::post,
        get "/book/{id}/later" Anyone public::book::later::get,
        get "/tell-us/{token}" Anyone public::skin_test::get,
        post "/tell-us/{token}" Anyone public::skin_test::post,
        post "/tell-us/{token}/photo" Anyone public::skin_test::post_photo,
        get "/go-on/{token}" Anyone public::go_on::get,
        post "/go-on/{token}" Anyone public::go_on::post,
        get "/book/{id}/time" Anyone public::book::time_again::get,
        post "/book/{id}/time" Anyone public::book::time_again::post,
        get "/book/{id}/done" Anyone public::book::done::get,
        get "/earlier/{token}" Anyone public::earlier::get,
        post "/earlier/{token}" Anyone public::earlier::post,
        get "/calendar/{token}" Anyone public::feed::get,
        get "/invited/{token}" Anyone public::invited::get,
        post "/invited/{token}" Anyone public::invited::post,
        get "/unsubscribe/{token}" Anyone public::unsubscribe::get,
        post "/unsubscribe/{token}" Anyone public::unsubscribe::post,
        get "/privacy" Anyone public::privacy::get,
        get "/styleguide" Anyone public::styleguide::get,
        get "/sign-in" Anyone public::sign_in::get,
        post "/sign-in" Anyone public::sign_in::post,
        get "/sign-in/{token}" Anyone public::link::get,
        post "/sign-in/{token}" Anyone public::link::post,
        post "/sign-out" Anyone public::sign_out::post,
        get "/team/sign-in" Anyone public::team::get,
        post "/team/sign-in" Anyone public::team::post,
    ]
}

fn team_routes() -> Vec<Route> {
    routes![
        get "/team/code" AtTheDoor team::code::get,
        post "/team/code" AtTheDoor team::code::post,
        get "/team/password" AtTheDoor team::password::get,
        post "/team/password" AtTheDoor team::password::post,
        get "/team/second-factor" AtTheDoor team::second_factor::get,
        post "/team/second-factor" AtTheDoor team::second_factor::post,
        post "/team/second-factor/later" AtTheDoor team::second_factor::later,
        get "/team/passkey" AtTheDoor team::passkey::get,
        post "/team/passkey" AtTheDoor team::passkey::post,
        post "/team/passkey/new" AtTheDoor team::passkey::new,
        post "/team/passkey/known" AtTheDoor team::passkey::known,
        post "/team/sign-out" AtTheDoor public::sign_out::team,
        post "/team/sign-out-everywhere" Practitioner public::sign_out::everywhere,
        get "/team/prove" Practitioner team::proof::get,
        post "/team/prove" Practitioner team::proof::post,
        get "/desk/sign-in" Practitioner team::own::get,
        post "/desk/sign-in/codes" Practitioner team::own::codes,
        post "/desk/sign-in/end" Practitioner team::own::end,
        post "/desk/sign-in/passkeys" Practitioner team::passkey::remove,
    ]
}

fn client_routes() -> Vec<Route> {
    routes![
        get "/me" Client client::visits::get,
        get "/me/return" Client client::return_again::get,
        get "/me/visits/{id}/sign" Client client::sign::get,
        post "/me/visits/{id}/sign" Client client::sign::post,
        get "/me/skin-tests/{id}" Client public::skin_test::get_own,
        post "/me/skin-tests/{id}" Client public::skin_test::post_own,
        post "/me/skin-tests/{id}/photo" Client public::skin_test::post_own_photo,
        get "/me/agreements" Client client::agreements::get,
        post "/me/agreements" Client client::agreements::post,
        get "/me/visits/{id}/move" Client client::relocate::get,
        post "/me/visits/{id}/move" Client client::relocate::post,
        get "/me/visits/{id}/needs" Client client::needs::get,
        get "/me/visits/{id}/cancel" Client client::cancel::get,
        post "/me/visits/{id}/cancel" Client client::cancel::post,
        get "/me/visits/{id}/earlier" Client client::earlier::get,
        post "/me/visits/{id}/earlier" Client client::earlier::post,
        get "/me/visits/{id}/calendar.ics" Client client::calendar::get,
        get "/me/papers/{id}" Client client::paper::get,
        get "/me/data" Client client::data::get,
        post "/me/data/copy" Client client::copy::post,
        get "/me/data/copies/{id}/my-data.zip" Client client::copy::get,
        post "/me/data/erase" Client client::data::erase,
        post "/me/data/keep" Client client::data::keep,
        post "/me/data/end" Client client::data::end,
        get "/me/letters" Client client::letters::get,
        post "/me/letters" Client client::letters::post,
        get "/me/files/{id}" Client files::own,
        get "/me/files/{id}/small" Client files::own_small,
    ]
}

fn practitioner_routes() -> Vec<Route> {
    use practitioner::{answers, arrange, block, booking, calendar, chair, feed, letters, photos, reaction};
    use practitioner::{client as record, clients, consent, growth, password, skin_test, today, treatment, visit};
    routes![
        get "/desk" Practitioner today::get,
        get "/desk/calendar" Practitioner calendar::get,
        get "/desk/feed" Practitioner feed::get,
        post "/desk/feed/address" Practitioner feed::address,
        post "/desk/feed/outside" Practitioner feed::outside,
        get "/desk/blocks/new" Practitioner block::get,
        post "/desk/blocks/new" Practitioner block::post,
        post "/desk/blocks/{id}/remove" Practitioner block::remove,
        get "/desk/book" Practitioner booking::get,
        post "/desk/book/time" Practitioner booking::post,
        get "/desk/book/who" Practitioner booking::who,
        get "/desk/visits/{id}/arrange" Practitioner arrange::get,
        post "/desk/visits/{id}/move" Practitioner arrange::relocate,
        get "/desk/visits/{id}/price" Practitioner practitioner::price::get,
        post "/desk/visits/{id}/price" Practitioner practitioner::price::post,
        post "/desk/visits/{id}/deposit" Practitioner arrange::deposit,
        post "/desk/visits/{id}/called-off" Practitioner arrange::called_off,
        post "/desk/visits/{id}/put-back" Practitioner arrange::put_back,
        get "/desk/visits/{id}" Practitioner visit::get,
        post "/desk/visits/{id}/arrive" Practitioner visit::arrive,
        get "/desk/visits/{id}/chair" Practitioner chair::get,
        post "/desk/visits/{id}/start" Practitioner chair::start,
        post "/desk/visits/{id}/chair/shield" Practitioner chair::shield,
        post "/desk/visits/{id}/chair/presses" Practitioner chair::presses,
        post "/desk/visits/{id}/chair/batch" Practitioner chair::bottle,
        get "/desk/visits/{id}/photos" Practitioner photos::get,
        post "/desk/visits/{id}/photos" Practitioner photos::post,
        post "/desk/visits/{id}/guardian" Practitioner visit::guardian,
        post "/desk/visits/{id}/no-show" Practitioner visit::no_show,
        post "/desk/visits/{id}/cancel" Practitioner visit::cancel,
        get "/desk/visits/{id}/skin-test" Practitioner skin_test::get,
        post "/desk/visits/{id}/skin-test" Practitioner skin_test::post,
        get "/desk/visits/{id}/treatment" Practitioner treatment::get,
        post "/desk/visits/{id}/treatment" Practitioner treatment::post,
        get "/desk/treatments/{id}/correction" Practitioner treatment::get_correction,
        post "/desk/treatments/{id}/correction" Practitioner treatment::post_correction,
        get "/desk/skin-tests/{id}/reading" Practitioner skin_test::get_reading,
        post "/desk/skin-tests/{id}/reading" Practitioner skin_test::post_reading,
        get "/desk/files/{id}" Practitioner files::team,
        get "/desk/files/{id}/small" Practitioner files::team_small,
        post "/desk/skin-tests/{id}/void" Practitioner skin_test::post_void,
        get "/desk/clients" Practitioner clients::get,
        get "/desk/clients/{id}" Practitioner record::get,
        get "/desk/clients/{id}/consents/{consent}" Practitioner consent::get,
        get "/desk/clients/{id}/answers" Practitioner answers::get,
        post "/desk/clients/{id}/answers" Practitioner answers::post,
        get "/desk/clients/{id}/skin-test" Practitioner skin_test::get_walk_in,
        post "/desk/clients/{id}/skin-test" Practitioner skin_test::post_walk_in,
        get "/desk/clients/{id}/letters" Practitioner letters::get,
        post "/desk/clients/{id}/letters" Practitioner letters::post,
        post "/desk/letters/{id}" Practitioner letters::judge,
        get "/desk/clients/{id}/reaction" Practitioner reaction::get_report,
        post "/desk/clients/{id}/reaction" Practitioner reaction::post_report,
        get "/desk/reactions/{id}" Practitioner reaction::get,
        post "/desk/reactions/{id}/add" Practitioner reaction::add,
        post "/desk/reactions/{id}/photo" Practitioner reaction::photo,
        get "/desk/reactions/{id}/report.pdf" Practitioner reaction::paper,
        get "/desk/password" Practitioner password::get,
        post "/desk/password" Practitioner password::post,
        get "/desk/clients/{id}/growth" Practitioner growth::get,
    ]
}

fn owner_routes() -> Vec<Route> {
    routes![
        get "/owner" Owner owner::home::get,
        get "/owner/studio" Owner owner::studio::get,
        post "/owner/studio" Owner owner::studio::post,
        post "/owner/studio/logo" Owner owner::logo::post,
        post "/owner/studio/logo/remove" Owner owner::logo::remove,
        get "/owner/practitioners" Owner owner::practitioners::get,
        post "/owner/practitioners" Owner owner::practitioners::post,
        post "/owner/practitioners/sign-outs" Owner owner::practitioners::sign_everybody_out,
        get "/owner/practitioners/{id}" Owner owner::practitioner::get,
        post "/owner/practitioners/{id}" Owner owner::practitioner::post,
        post "/owner/practitioners/{id}/sign-in" Owner owner::sign_in::give,
        post "/owner/practitioners/{id}/password" Owner owner::sign_in::renew,
        post "/owner/practitioners/{id}/second-factor" Owner owner::sign_in::forget_factor,
        post "/owner/practitioners/{id}/access" Owner owner::sign_in::access,
        post "/owner/practitioners/{id}/me" Owner owner::sign_in::me,
        get "/owner/days-off" Owner owner::days_off::get,
        post "/owner/days-off" Owner owner::days_off::post,
        post "/owner/days-off/{id}/remove" Owner owner::days_off::remove,
        get "/owner/other-hours" Owner owner::other_hours::get,
        post "/owner/other-hours" Owner owner::other_hours::post,
        post "/owner/other-hours/{id}/remove" Owner owner::other_hours::remove,
        get "/owner/rooms" Owner owner::rooms::get,
        post "/owner/rooms" Owner owner::rooms::post,
        get "/owner/rooms/{id}" Owner owner::rooms::get_one,
        post "/owner/rooms/{id}" Owner owner::rooms::post_one,
        get "/owner/products" Owner owner::products::get,
        get "/owner/products/new" Owner owner::product::get_new,
        post "/owner/products/new" Owner owner::product::post_new,
        get "/owner/products/{id}" Owner owner::product::get,
        post "/owner/products/{id}" Owner owner::product::post,
        post "/owner/products/{id}/formula" Owner owner::product::post_formula,
        post "/owner/products/{id}/batches" Owner owner::product::post_batch,
        get "/owner/products/{id}/label" Owner owner::label::get,
        post "/owner/products/{id}/label" Owner owner::label::post,
        get "/owner/trace" Owner owner::trace::get,
        get "/owner/trace/list.csv" Owner owner::trace::csv,
        get "/owner/services" Owner owner::services::get,
        get "/owner/services/new" Owner owner::service::get_new,
        post "/owner/services/new" Owner owner::service::post_new,
        get "/owner/services/{id}" Owner owner::service::get,
        post "/owner/services/{id}" Owner owner::service::post,
        get "/owner/services/{id}/steps" Owner owner::steps::get,
        post "/owner/services/{id}/steps" Owner owner::steps::post,
        get "/owner/services/{id}/steps/{product}" Owner owner::steps::get_product,
        post "/owner/services/{id}/steps/{product}" Owner owner::steps::post_product,
        get "/owner/skin-test-steps" Owner owner::steps::get_skin_test,
        post "/owner/skin-test-steps" Owner owner::steps::post_skin_test,
        get "/owner/lists" Owner owner::lists::get,
        post "/owner/lists" Owner owner::lists::post,
        get "/owner/shields" Owner owner::lists::get_shields,
        post "/owner/shields" Owner owner::lists::post_shields,
        get "/owner/services/{id}/rule" Owner owner::rule::get,
        post "/owner/services/{id}/rule" Owner owner::rule::post,
        get "/owner/consent-text" Owner owner::consent_text::get,
        post "/owner/consent-text" Owner owner::consent_text::post,
        get "/owner/consent-text/{version}" Owner owner::consent_text::get_one,
        get "/owner/rules" Owner owner::rules::get,
        get "/owner/rules/versions/{n}" Owner owner::rules::get_version,
        get "/owner/rules/draft" Owner owner::rules::draft::get,
        post "/owner/rules/draft" Owner owner::rules::draft::post,
        get "/owner/rules/draft/publish" Owner owner::rules::publish::get,
        post "/owner/rules/draft/publish" Owner owner::rules::publish::post,
        get "/owner/rules/draft/rules/{key}" Owner owner::rules::rule::get,
        post "/owner/rules/draft/rules/{key}" Owner owner::rules::rule::post,
        post "/owner/rules/draft/rules/{key}/remove" Owner owner::rules::rule::remove,
        get "/owner/rules/draft/questions/{key}" Owner owner::rules::question::get,
        post "/owner/rules/draft/questions/{key}" Owner owner::rules::question::post,
        post "/owner/rules/draft/questions/{key}/retire" Owner owner::rules::question::retire,
        get "/owner/rules/draft/questions/{key}/rule" Owner owner::rules::rule::get_new,
        post "/owner/rules/draft/questions/{key}/rule" Owner owner::rules::rule::post_new,
        get "/owner/rules/draft/sections/{key}/question" Owner owner::rules::question::get_new,
        post "/owner/rules/draft/sections/{key}/question" Owner owner::rules::question::post_new,
        get "/owner/audit" Owner owner::audit::get,
        get "/owner/keeping" Owner owner::keeping::get,
        get "/owner/processing" Owner owner::keeping::processing::get,
        get "/owner/keeping/terms/{class}" Owner owner::keeping::term::get,
        post "/owner/keeping/terms/{class}" Owner owner::keeping::term::post,
        get "/owner/keeping/list" Owner owner::keeping::list::get,
        post "/owner/keeping/list" Owner owner::keeping::list::post,
        post "/owner/keeping/list/{id}" Owner owner::keeping::list::confirm,
        get "/owner/clients/{id}/data" Owner owner::keeping::client::get,
        post "/owner/clients/{id}/erase" Owner owner::keeping::client::erase,
        post "/owner/clients/{id}/hold" Owner owner::keeping::client::hold,
        get "/owner/holds/{id}/lift" Owner owner::keeping::hold::get,
        post "/owner/holds/{id}/lift" Owner owner::keeping::hold::post,
        get "/owner/backups" Owner owner::backups::get,
        post "/owner/backups" Owner owner::backups::post,
        get "/owner/mail" Owner owner::mail::get,
        post "/owner/mail/{id}/again" Owner owner::mail::again,
        post "/owner/mail/{id}/set-aside" Owner owner::mail::set_aside,
        get "/owner/retouch" Owner owner::retouch::get,
        get "/owner/retouch/forecast" Owner owner::retouch::forecast::get,
        post "/owner/retouch/invite" Owner owner::retouch::invite::post,
        get "/owner/retouch/list.csv" Owner owner::retouch::csv,
        get "/owner/services/{id}/cycle" Owner owner::cycle::get,
        get "/owner/exports" Owner owner::exports::get,
        post "/owner/exports" Owner owner::exports::post,
        get "/owner/exports/{id}/package.zip" Owner owner::package::get,
        get "/owner/takeover" Owner owner::takeover::get,
        post "/owner/takeover" Owner owner::takeover::post,
        get "/owner/takeover/{id}" Owner owner::takeover::columns::get,
        post "/owner/takeover/{id}" Owner owner::takeover::columns::post,
        get "/owner/takeover/{id}/check" Owner owner::takeover::check::get,
        post "/owner/takeover/{id}/check" Owner owner::takeover::check::post,
        get "/owner/papers" Owner owner::papers::get,
        post "/owner/papers" Owner owner::papers::post,
        post "/owner/papers/rule" Owner owner::papers::rule,
        get "/owner/papers/{id}/file" Owner owner::papers::file,
        post "/owner/papers/{id}/remove" Owner owner::papers::remove,
        get "/owner/takings" Owner owner::takings::get,
        get "/owner/takings/list.csv" Owner owner::takings::csv,
        get "/owner/verify" Owner owner::verify::get,
        post "/owner/verify" Owner owner::verify::post,
    ]
}

/// The one route that takes a package.
const TAKES_PACKAGE: &str = "/owner/verify";
/// The routes that take a photo, a letter or a table with a form.
const TAKE_UPLOADS: [&str; 9] = [
    "/owner/papers",
    "/owner/takeover",
    "/me/letters",
    "/owner/studio/logo",
    "/desk/clients/{id}/letters",
    "/desk/reactions/{id}/photo",
    "/desk/visits/{id}/photos",
    "/tell-us/{token}/photo",
    "/me/skin-tests/{id}/photo",
];

/// The router of the table, each route behind its guard and, behind that, its limits.
pub fn build(app: &App) -> Router {
    let mut router = Router::new();
    for route in table() {
        let state = (app.clone(), route.who);
        let limits = match route.path {
            TAKES_PACKAGE => Room::PACKAGE,
            path if TAKE_UPLOADS.contains(&path) => Room::UPLOAD,
            _ => Room::FORM,
        };
        let limited = limits.around(route.handler, &app.patience);
        let guarded = limited.layer(axum::middleware::from_fn_with_state(state, guard::guard));
        router = router.route(route.path, guarded);
    }
    router.with_state(app.clone())
}
