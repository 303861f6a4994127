"""Which columns name bytes in storage, so that no file somebody needs is taken for one that nobody does."""

from jobs.selectors.stored_names import HASH_ONLY, hash_columns, naming_columns


def test_every_hash_column_is_known() -> None:
    """A new column that names stored bytes keeps them by itself; a mere hash is listed once, by hand."""
    named = {f"{model.__name__}.{column}" for model, column in naming_columns()}
    assert named == {
        "AdditionPrint.sha256", "Evidence.sha256", "Evidence.thumbnail_sha256",
        "Evidence.working_copy_sha256", "Packet.body_sha256", "Packet.pdf_sha256", "Packet.sealing_sha256",
        "Packet.source_sha256", "PacketAddition.sha256", "PacketRedaction.sha256", "PictureCopy.sha256",
    }  # fmt: skip
    assert set(hash_columns()) >= HASH_ONLY
