"""Every code with which intake refuses, in three groups, so that the doors can map each group once."""

from typing import Final

# The bytes do not follow their own grammar.
MALFORMED: Final = frozenset(
    {
        "empty_file",
        "parse_error",
        "duplicate_key",
        "too_deep",
        "number_not_finite",
        "number_too_big",
        "lone_surrogate",
        "nul_character",
    }
)
# Larger than this kind of evidence may be.
TOO_LARGE: Final = frozenset({"too_large"})
# A kind of file that is not taken here, whatever its name or its sender says.
WRONG_TYPE: Final = frozenset({"unknown_kind", "unrecognised_type", "type_not_allowed", "type_mismatch"})
# The right kind of file, with content that cannot stand as evidence.
CONTENT: Final = frozenset(
    {
        "decoder_failed",
        "decoder_timeout",
        "image_truncated",
        "image_unreadable",
        "image_too_large",
        "metadata_too_large",
        "animated_not_allowed",
        "pdf_unreadable",
        "pdf_encrypted",
        "pdf_too_many_pages",
        "pdf_too_complex",
        "xml_unreadable",
        "xml_entities_forbidden",
        "xml_too_deep",
        "gpx_version",
        "nmea_format",
        "nmea_checksum",
        "csv_encoding",
        "csv_control_chars",
        "csv_header",
        "csv_columns",
        "csv_too_wide",
        "csv_cell_too_long",
        "csv_unreadable",
        "number_format",
        "time_format",
        "time_missing",
        "log_empty",
        "log_too_long",
        "log_time_order",
        "log_out_of_range",
        "event_unknown",
        "field_missing",
        "field_unknown",
        "field_type",
        "field_value",
        "duplicate_module",
        "module_not_answered",
        "code_format",
        "unit_mismatch",
    }
)
ALL: Final = MALFORMED | TOO_LARGE | WRONG_TYPE | CONTENT
