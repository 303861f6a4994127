"""The record's tables: every model is imported here, so that Django and services find them in one place."""

from jobs.models.addition import AdditionPrint, PacketAddition
from jobs.models.assessment import Assessment, AssessmentRun, FactsOnFile, FindingRow
from jobs.models.decision import Delivery, Explanation, LegalHold, Refusal, SignOff, SubletOrder, Waiver
from jobs.models.device import ClockObservation, Device
from jobs.models.equipment import (
    BeforeUseCheck,
    Certificate,
    Equipment,
    EquipmentEvent,
    EquipmentUse,
    MethodBudget,
)
from jobs.models.evidence import Evidence, PhotoDecision, PhotoHash, PhotoHashBand, SlipCode
from jobs.models.grant import AccessGrant, CopyTransfer, LinkMiss, PacketDownload, ShareLink
from jobs.models.job import CLOSED_STATES, OPEN_STATES, Job
from jobs.models.ledger import LedgerHead, LogEntry, LogTile, TreeHead
from jobs.models.observations import (
    AdhesiveSheet,
    FunctionCheck,
    GlassSet,
    LampRecord,
    StateChange,
    Statement,
    TargetIdentity,
)
from jobs.models.order import (
    EstimateLine,
    EstimateMapping,
    InvoiceLine,
    OperationDone,
    OperationsClosing,
    RepairOrder,
    TextLookup,
)
from jobs.models.outbox import OutboxEntry, WorkerBeat
from jobs.models.pack import FunctionUsesSensor, PackAcknowledgement, PackEditionOnFile
from jobs.models.packet import Packet
from jobs.models.people import ROLES, Person, Qualification
from jobs.models.person_key import PersonKey
from jobs.models.picture import PictureCopy
from jobs.models.places import Bay, BayFloorSurvey, Location
from jobs.models.public_check import PublicCheck
from jobs.models.reading import Reading, Scan
from jobs.models.record import JobRecord, MomentField, Record, RecordedMoment, TimedJobRecord
from jobs.models.redaction import PacketRedaction
from jobs.models.retention import Deletion, RetentionRule
from jobs.models.sample import ArchivedCopy, Sample, SampleArchive, SampledPacket
from jobs.models.session import KeyEvent, Session, SessionPart
from jobs.models.signing_identity import SigningIdentity
from jobs.models.tenancy import (
    Organisation,
    ScopeError,
    TenantManager,
    TenantModel,
    current_organisation_id,
    scope,
    unscoped,
)
from jobs.models.token import ApiToken, IdempotencyRecord
from jobs.models.vehicle import FittedWay, IdentityReading, Vehicle

__all__ = [
    "CLOSED_STATES",
    "OPEN_STATES",
    "ROLES",
    "AccessGrant",
    "AdditionPrint",
    "AdhesiveSheet",
    "ApiToken",
    "ArchivedCopy",
    "Assessment",
    "AssessmentRun",
    "Bay",
    "BayFloorSurvey",
    "BeforeUseCheck",
    "Certificate",
    "ClockObservation",
    "CopyTransfer",
    "Deletion",
    "Delivery",
    "Device",
    "Equipment",
    "EquipmentEvent",
    "EquipmentUse",
    "EstimateLine",
    "EstimateMapping",
    "Evidence",
    "Explanation",
    "FactsOnFile",
    "FindingRow",
    "FittedWay",
    "FunctionCheck",
    "FunctionUsesSensor",
    "GlassSet",
    "IdempotencyRecord",
    "IdentityReading",
    "InvoiceLine",
    "Job",
    "JobRecord",
    "KeyEvent",
    "LampRecord",
    "LedgerHead",
    "LegalHold",
    "LinkMiss",
    "Location",
    "LogEntry",
    "LogTile",
    "MethodBudget",
    "MomentField",
    "OperationDone",
    "OperationsClosing",
    "Organisation",
    "OutboxEntry",
    "PackAcknowledgement",
    "PackEditionOnFile",
    "Packet",
    "PacketAddition",
    "PacketDownload",
    "PacketRedaction",
    "Person",
    "PersonKey",
    "PhotoDecision",
    "PhotoHash",
    "PhotoHashBand",
    "PictureCopy",
    "PublicCheck",
    "Qualification",
    "Reading",
    "Record",
    "RecordedMoment",
    "Refusal",
    "RepairOrder",
    "RetentionRule",
    "Sample",
    "SampleArchive",
    "SampledPacket",
    "Scan",
    "ScopeError",
    "Session",
    "SessionPart",
    "ShareLink",
    "SignOff",
    "SigningIdentity",
    "SlipCode",
    "StateChange",
    "Statement",
    "SubletOrder",
    "TargetIdentity",
    "TenantManager",
    "TenantModel",
    "TextLookup",
    "TimedJobRecord",
    "TreeHead",
    "Vehicle",
    "Waiver",
    "WorkerBeat",
    "current_organisation_id",
    "scope",
    "unscoped",
]
