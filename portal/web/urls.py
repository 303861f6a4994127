"""The pages' routes; each has a row in the permission table, but for signing in and the look."""

from django.urls import path

from portal.web import auditor, checking, heads, links, operations, sessions, technician, time_line

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
    path("gate/<uuid:job_id>/times", time_line.of_job, name="gate-times"),
    path("gate/<uuid:job_id>/release", operations.release, name="gate-release"),
    path("gate/<uuid:job_id>/delivery", operations.delivery, name="gate-delivery"),
    path("gate/<uuid:job_id>/packet", operations.seal_packet, name="gate-packet"),
    path("heads", heads.head_list, name="heads"),
    path("heads/address", heads.set_address, name="heads-address"),
    path("packets", auditor.packet_list, name="packets"),
    path("packets/<uuid:packet_id>", auditor.packet, name="packet"),
    path("packets/<uuid:packet_id>/times", time_line.of_packet, name="packet-times"),
    path("packets/<uuid:packet_id>/download", auditor.download, name="packet-download"),
    path("packets/<uuid:packet_id>/bundle", auditor.bundle, name="packet-bundle"),
    path("packets/<uuid:packet_id>/pictures/<int:number>", auditor.picture, name="packet-picture"),
    path("copies/<uuid:copy_id>", auditor.copy, name="copy"),
    path("verify/", checking.verify, name="verify"),
    path("s/<str:token>", links.landing, name="link"),
    path("s/<str:token>/passphrase", links.passphrase, name="link-passphrase"),
    path("s/<str:token>/packets/<uuid:packet_id>", links.packet, name="link-packet"),
    path("s/<str:token>/packets/<uuid:packet_id>/copy", links.take, name="link-take"),
    path("s/<str:token>/packets/<uuid:packet_id>/bundle", links.bundle, name="link-bundle"),
    path("s/<str:token>/packets/<uuid:packet_id>/pictures/<int:number>", links.picture, name="link-picture"),
    path("s/<str:token>/copies/<uuid:copy_id>", links.copy, name="link-copy"),
]
