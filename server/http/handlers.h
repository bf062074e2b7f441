#pragma once
/* http/handlers.h - every handler of routes.def. */
#include "http/http.h"

/* audit.c */
enum rc http_audit_list(struct http_req *rq, struct err *err);

/* bench_checks.c */
enum rc http_bench_check_get(struct http_req *rq, struct err *err);
enum rc http_bench_check_list(struct http_req *rq, struct err *err);
enum rc http_bench_check_post(struct http_req *rq, struct err *err);

/* clinics.c */
enum rc http_clinic_get(struct http_req *rq, struct err *err);
enum rc http_clinic_list(struct http_req *rq, struct err *err);
enum rc http_clinic_patch(struct http_req *rq, struct err *err);
enum rc http_clinic_post(struct http_req *rq, struct err *err);

/* devices.c */
enum rc http_device_get(struct http_req *rq, struct err *err);
enum rc http_device_list(struct http_req *rq, struct err *err);
enum rc http_device_patch(struct http_req *rq, struct err *err);
enum rc http_device_post(struct http_req *rq, struct err *err);

/* dicom_store.c */
enum rc http_studies_post(struct http_req *rq, struct err *err);
enum rc http_study_post(struct http_req *rq, struct err *err);

/* docs.c */
enum rc http_docs_get(struct http_req *rq, struct err *err);
enum rc http_openapi_get(struct http_req *rq, struct err *err);
enum rc http_schema_get(struct http_req *rq, struct err *err);

/* events.c */
enum rc http_event_list(struct http_req *rq, struct err *err);

/* exam_amend.c */
enum rc http_exam_amend_delete(struct http_req *rq, struct err *err);
enum rc http_exam_amend_post(struct http_req *rq, struct err *err);
enum rc http_exam_void_post(struct http_req *rq, struct err *err);

/* exam_sign.c */
enum rc http_exam_sign_post(struct http_req *rq, struct err *err);

/* exam_start.c */
enum rc http_exam_start_post(struct http_req *rq, struct err *err);

/* exam_steps.c */
enum rc http_exam_step_list(struct http_req *rq, struct err *err);
enum rc http_exam_step_post(struct http_req *rq, struct err *err);

/* exams.c */
enum rc http_exam_get(struct http_req *rq, struct err *err);
enum rc http_exam_list(struct http_req *rq, struct err *err);
enum rc http_exam_patch(struct http_req *rq, struct err *err);
enum rc http_exam_post(struct http_req *rq, struct err *err);

/* habitual.c */
enum rc http_habitual_get(struct http_req *rq, struct err *err);
enum rc http_habitual_post(struct http_req *rq, struct err *err);

/* health.c */
enum rc http_health_get(struct http_req *rq, struct err *err);
enum rc http_ready_get(struct http_req *rq, struct err *err);

/* keys_signing.c */
enum rc http_key_get(struct http_req *rq, struct err *err);
enum rc http_key_list(struct http_req *rq, struct err *err);
enum rc http_key_post(struct http_req *rq, struct err *err);

/* labs.c */
enum rc http_lab_get(struct http_req *rq, struct err *err);
enum rc http_lab_list(struct http_req *rq, struct err *err);
enum rc http_lab_patch(struct http_req *rq, struct err *err);
enum rc http_lab_post(struct http_req *rq, struct err *err);

/* network.c */
enum rc http_network_get(struct http_req *rq, struct err *err);
enum rc http_network_patch(struct http_req *rq, struct err *err);

/* optics.c */
enum rc http_optics_post(struct http_req *rq, struct err *err);

/* order_amend.c */
enum rc http_order_amend_post(struct http_req *rq, struct err *err);
enum rc http_order_edition_list(struct http_req *rq, struct err *err);
enum rc http_order_lab_data(struct http_req *rq, struct err *err);

/* order_ask.c, order_change.c */
enum rc http_order_answer_post(struct http_req *rq, struct err *err);
enum rc http_order_ask_post(struct http_req *rq, struct err *err);
enum rc http_order_patch(struct http_req *rq, struct err *err);

/* order_dicom.c */
enum rc http_order_dicom(struct http_req *rq, struct err *err);

/* order_fhir.c */
enum rc http_order_fhir(struct http_req *rq, struct err *err);

/* order_list.c, order_make.c */
enum rc http_order_list(struct http_req *rq, struct err *err);
enum rc http_order_make_get(struct http_req *rq, struct err *err);

/* order_print.c */
enum rc http_order_html(struct http_req *rq, struct err *err);
enum rc http_order_pdf(struct http_req *rq, struct err *err);

/* order_status.c */
enum rc http_order_status_post(struct http_req *rq, struct err *err);

/* orders.c */
enum rc http_order_get(struct http_req *rq, struct err *err);
enum rc http_order_post(struct http_req *rq, struct err *err);
enum rc http_order_remake_post(struct http_req *rq, struct err *err);

/* pages.c */
enum rc http_asset_get(struct http_req *rq, struct err *err);
enum rc http_page_get(struct http_req *rq, struct err *err);

/* patient_duplicates.c */
enum rc http_patient_duplicates(struct http_req *rq, struct err *err);

/* patient_merge.c */
enum rc http_patient_merge(struct http_req *rq, struct err *err);
enum rc http_patient_unmerge(struct http_req *rq, struct err *err);

/* patients.c */
enum rc http_patient_get(struct http_req *rq, struct err *err);
enum rc http_patient_list(struct http_req *rq, struct err *err);
enum rc http_patient_patch(struct http_req *rq, struct err *err);
enum rc http_patient_post(struct http_req *rq, struct err *err);

/* profiles.c */
enum rc http_profile_get(struct http_req *rq, struct err *err);
enum rc http_profile_list(struct http_req *rq, struct err *err);
enum rc http_profile_post(struct http_req *rq, struct err *err);
enum rc http_profile_preview(struct http_req *rq, struct err *err);
enum rc http_profile_version_list(struct http_req *rq, struct err *err);
enum rc http_profile_version_post(struct http_req *rq, struct err *err);

/* reading_side.c */
enum rc http_reading_claims(struct http_req *rq, struct err *err);
enum rc http_reading_side(struct http_req *rq, struct err *err);
enum rc http_reading_unside(struct http_req *rq, struct err *err);

/* readings.c */
enum rc http_reading_claim(struct http_req *rq, struct err *err);
enum rc http_reading_get(struct http_req *rq, struct err *err);
enum rc http_reading_original(struct http_req *rq, struct err *err);
enum rc http_reading_unclaim(struct http_req *rq, struct err *err);
enum rc http_readings_get(struct http_req *rq, struct err *err);

/* readings_in.c */
enum rc http_readings_post(struct http_req *rq, struct err *err);
enum rc http_readings_preview(struct http_req *rq, struct err *err);

/* releases.c */
enum rc http_release_list(struct http_req *rq, struct err *err);
enum rc http_release_post(struct http_req *rq, struct err *err);

/* rx.c */
enum rc http_exam_delta_get(struct http_req *rq, struct err *err);
enum rc http_exam_rx_get(struct http_req *rq, struct err *err);
enum rc http_exam_version_list(struct http_req *rq, struct err *err);

/* sessions.c */
enum rc http_me_get(struct http_req *rq, struct err *err);
enum rc http_session_delete(struct http_req *rq, struct err *err);
enum rc http_session_post(struct http_req *rq, struct err *err);

/* timeline.c */
enum rc http_timeline_get(struct http_req *rq, struct err *err);

/* tokens.c */
enum rc http_token_delete(struct http_req *rq, struct err *err);
enum rc http_token_list(struct http_req *rq, struct err *err);
enum rc http_token_post(struct http_req *rq, struct err *err);

/* users.c */
enum rc http_user_get(struct http_req *rq, struct err *err);
enum rc http_user_list(struct http_req *rq, struct err *err);
enum rc http_user_patch(struct http_req *rq, struct err *err);
enum rc http_user_post(struct http_req *rq, struct err *err);

/* webhooks.c */
enum rc http_webhook_delivery_list(struct http_req *rq, struct err *err);
enum rc http_webhook_get(struct http_req *rq, struct err *err);
enum rc http_webhook_list(struct http_req *rq, struct err *err);
enum rc http_webhook_patch(struct http_req *rq, struct err *err);
enum rc http_webhook_post(struct http_req *rq, struct err *err);
enum rc http_webhook_replay_post(struct http_req *rq, struct err *err);

/* visits.c */
enum rc http_visit_get(struct http_req *rq, struct err *err);
enum rc http_visit_list(struct http_req *rq, struct err *err);
enum rc http_visit_patch(struct http_req *rq, struct err *err);
enum rc http_visit_post(struct http_req *rq, struct err *err);
