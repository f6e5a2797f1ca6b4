"""The work itself: coat build, care, cautions, how far a product goes, the weather of the day, the
sign-off."""

from jobs.work.care_record import (
    CareRecord,
    build_care_record,
    care_record_summary,
    get_job_for_record,
)
from jobs.work.care_times import DEFAULT_FURNITURE_DAYS, DEFAULT_WALK_HOURS, care_note
from jobs.work.cautions import (
    GENERAL_CAUTION,
    STRIPPER_CAUTION,
    WorkFacts,
    closing_cautions,
    danger_warning,
    defect_caution,
    job_cautions,
)
from jobs.work.coat_build import CoatBuild, coat_build, coat_build_before_and_after
from jobs.work.compatibility import (
    FILM_STRIP_GRADE,
    FLAKING_GRADE,
    OIL_STRIP_GRADE,
    finish_compatibility,
    finish_distance,
    is_film,
    strip_grade,
)
from jobs.work.drawn_signature import drawn_image_url, is_drawn_path
from jobs.work.grade_examples import GradeMark, graded_visits, with_grade_marks
from jobs.work.kit import protection_for, tools_for
from jobs.work.plausibility import missing_photo_words, plausibility_warnings
from jobs.work.sign_off import (
    NO_PHOTOS_NOTE,
    ConsentRequest,
    consent_requests,
    jobs_to_sign_off,
    latest_care_note,
    sign_off_statement,
    waits_for_photos,
)
from jobs.work.spread_rate import measured_spreads
from jobs.work.structure_report import report_context, report_notice
from jobs.work.weather import (
    MIN_DEW_POINT_DEPRESSION_C,
    dew_point_c,
    equilibrium_moisture_percent,
    temperature_difference,
)

__all__ = [
    "DEFAULT_FURNITURE_DAYS",
    "DEFAULT_WALK_HOURS",
    "FILM_STRIP_GRADE",
    "FLAKING_GRADE",
    "GENERAL_CAUTION",
    "MIN_DEW_POINT_DEPRESSION_C",
    "NO_PHOTOS_NOTE",
    "OIL_STRIP_GRADE",
    "STRIPPER_CAUTION",
    "CareRecord",
    "CoatBuild",
    "ConsentRequest",
    "GradeMark",
    "WorkFacts",
    "build_care_record",
    "care_note",
    "care_record_summary",
    "closing_cautions",
    "coat_build",
    "coat_build_before_and_after",
    "consent_requests",
    "danger_warning",
    "defect_caution",
    "dew_point_c",
    "drawn_image_url",
    "equilibrium_moisture_percent",
    "finish_compatibility",
    "finish_distance",
    "get_job_for_record",
    "graded_visits",
    "is_drawn_path",
    "is_film",
    "job_cautions",
    "jobs_to_sign_off",
    "latest_care_note",
    "measured_spreads",
    "missing_photo_words",
    "plausibility_warnings",
    "protection_for",
    "report_context",
    "report_notice",
    "sign_off_statement",
    "strip_grade",
    "temperature_difference",
    "tools_for",
    "waits_for_photos",
    "with_grade_marks",
]
