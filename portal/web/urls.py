"""The pages' routes; each has a row in the permission table, but for signing in and the look."""

from django.urls import path

from portal.web import auditor, operations, sessions, technician

urlpatterns = [
    path("", sessions.home, name="home"),
    path("sign-in", sessions.sign_in, name="sign-in"),
    path("sign-out", sessions.sign_out, name="sign-out"),
    path("look", sessions.set_look, name="look"),
    path("cars", technician.car_list, name="cars"),
    path("cars/<uuid:job_id>", technician.car, name="car"),
    path("cars/<uuid:job_id>/state", technician.car_state, name="car-state"),
    path("cars/<uuid:job_id>/photos", technician.keep_photo, name="car-photo"),
    path("cars/<uuid:job_id>/files", technician.keep_file, name="car-file"),
    path("cars/<uuid:job_id>/signature", technician.sign_work, name="car-sign"),
    path("board", operations.board, name="board"),
    path("gate/<uuid:job_id>", operations.gate, name="gate"),
    path("gate/<uuid:job_id>/release", operations.release, name="gate-release"),
    path("gate/<uuid:job_id>/delivery", operations.delivery, name="gate-delivery"),
    path("gate/<uuid:job_id>/packet", operations.seal_packet, name="gate-packet"),
    path("packets", auditor.packet_list, name="packets"),
    path("packets/<uuid:packet_id>", auditor.packet, name="packet"),
    path("packets/<uuid:packet_id>/download", auditor.download, name="packet-download"),
]
